-- Which loads, judgements and journal entries the rows of each table say they belong to. Grain: one row a table and number.
SELECT 'logged.load' AS name, 'load' AS kind, load_id AS number FROM logged.load
UNION
SELECT 'logged.file', 'load', load_id FROM logged.file
UNION
SELECT 'logged.file_growth', 'load', load_id FROM logged.file_growth
UNION
SELECT 'logged.set_aside', 'load', load_id FROM logged.set_aside
UNION
SELECT 'logged.flag_count', 'load', load_id FROM logged.flag_count
UNION
SELECT 'logged.material', 'load', load_id FROM logged.material
UNION
SELECT 'logged.warning', 'load', load_id FROM logged.warning
UNION
SELECT 'judged.assessment', 'assessment', assessment_id FROM judged.assessment
UNION
SELECT 'placed.reel', 'assessment', assessment_id FROM placed.reel
UNION
SELECT 'placed.phase', 'assessment', assessment_id FROM placed.phase
UNION
SELECT 'placed.counter_event', 'assessment', assessment_id FROM placed.counter_event
UNION
SELECT 'placed.event', 'assessment', assessment_id FROM placed.event
UNION
SELECT 'placed.warning', 'assessment', assessment_id FROM placed.warning
UNION
SELECT 'measured.stretch', 'assessment', assessment_id FROM measured.stretch
UNION
SELECT 'measured.reel', 'assessment', assessment_id FROM measured.reel
UNION
SELECT 'measured.gap', 'assessment', assessment_id FROM measured.gap
UNION
SELECT 'measured.agreement', 'assessment', assessment_id FROM measured.agreement
UNION
SELECT 'judged.limit', 'assessment', assessment_id FROM judged."limit"
UNION
SELECT 'judged.requirement', 'assessment', assessment_id FROM judged.requirement
UNION
SELECT 'judged.finding', 'assessment', assessment_id FROM judged.finding
UNION
SELECT 'judged.reel', 'assessment', assessment_id FROM judged.reel
UNION
SELECT 'judged.lack', 'assessment', assessment_id FROM judged.lack
UNION
SELECT 'judged.result', 'assessment', assessment_id FROM judged.result
UNION
SELECT 'judged.answer', 'assessment', assessment_id FROM judged.answer
UNION
SELECT 'journal.act', 'disposition', entry_no FROM journal.act
UNION
SELECT 'placed.cut', 'cut', entry_no FROM placed.cut
UNION
SELECT 'journal.shipment', 'shipment', entry_no FROM journal.shipment
UNION
SELECT 'logged.thinning', 'thinning', entry_no FROM logged.thinning
UNION
SELECT 'judged.line_review', 'line review', line_review_id FROM judged.line_review
UNION
SELECT 'judged.line_result', 'line review', line_review_id FROM judged.line_result
UNION
SELECT 'judged.line_answer', 'line review', line_review_id FROM judged.line_answer
UNION
SELECT 'judged.line_signal', 'line review', line_review_id FROM judged.line_signal
UNION
SELECT 'judged.line_chart', 'line review', line_review_id FROM judged.line_chart
UNION
SELECT 'judged.control_chart', 'line review', line_review_id FROM judged.control_chart
UNION
SELECT 'judged.line_point', 'line review', line_review_id FROM judged.line_point
ORDER BY name, number
