-- Rows of judged.line_chart as a store up to version 8 sealed them, of $line_review_id. Grain: as there. Reads judged.line_chart.
SELECT
    line_review_id, chart_no, title, quantity, family, method, phase, question, unit, arl0,
    unit_of_inference, assumptions, warnings, details, budget
FROM judged.line_chart
WHERE line_review_id = $line_review_id
ORDER BY chart_no
