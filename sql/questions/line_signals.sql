-- Signals of look $line_review_id over a line. Grain: one row a chart and signal. Reads judged.line_signal.
SELECT
    line_review_id, quantity, chart, phase, reel_id, run_id, value, limit_value, side, rule, said,
    since_reel_id
FROM judged.line_signal
WHERE line_review_id = $line_review_id
ORDER BY quantity, chart, reel_id
