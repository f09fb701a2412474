-- Control charts of look $line_review_id over a line. Grain: one row a chart. Reads judged.control_chart.
SELECT
    line_review_id, chart_no, charted, family, value, method, phase, unit, arl0, unit_of_inference, assumptions,
    warnings, details, budget, said
FROM judged.control_chart
WHERE line_review_id = $line_review_id
ORDER BY chart_no
