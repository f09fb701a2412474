-- Control charts of look $line_review_id over a line. Grain: one row a chart. Reads judged.line_chart.
SELECT
    line_review_id, chart_no, title, quantity, family, method, phase, question, unit, arl0,
    unit_of_inference, assumptions, warnings, details, budget
FROM judged.line_chart
WHERE line_review_id = $line_review_id
ORDER BY chart_no
