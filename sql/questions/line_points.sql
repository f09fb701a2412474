-- Points of the control charts of look $line_review_id over a line. Grain: one row a chart and point. Reads judged.line_point.
SELECT
    line_review_id, chart_no, item, run_id, reel_id, at_m, value, centre, lower_limit, upper_limit,
    rule, said, since_item
FROM judged.line_point
WHERE line_review_id = $line_review_id
ORDER BY chart_no, item
