-- Every control chart as stores up to version 8 wrote it. Grain: one row a look and chart. Reads judged.line_chart.
SELECT
    line_review_id, chart_no, title, quantity, family, method, phase, question, unit, arl0,
    unit_of_inference, assumptions, warnings, details, budget
FROM judged.line_chart
ORDER BY rowid
