-- A control chart over the reels of a line and product, with what its limits rest on. Grain: one row a look and chart.
CREATE TABLE IF NOT EXISTS judged.control_chart (
    line_review_id INTEGER NOT NULL,
    chart_no INTEGER NOT NULL,
    charted VARCHAR NOT NULL,            -- what is charted: a code
    family VARCHAR NOT NULL,             -- kind of chart: a code
    value VARCHAR NOT NULL,              -- the charted value's name in the records
    method VARCHAR NOT NULL,             -- JSON message: code and arguments
    phase VARCHAR NOT NULL,              -- 'I' while the limits come from these points, 'II' while they are fixed
    unit VARCHAR NOT NULL,
    arl0 DOUBLE,                         -- points from one false alarm to the next; NULL if not computed
    unit_of_inference VARCHAR NOT NULL,
    assumptions VARCHAR NOT NULL,        -- JSON list of {name, held, evidence}, names and evidence messages
    warnings VARCHAR NOT NULL,           -- JSON list of messages
    details VARCHAR NOT NULL,            -- JSON object
    budget VARCHAR NOT NULL,             -- the alarm budget in words; empty since version 14, which keeps it as said
    said VARCHAR                         -- the alarm budget the limits keep to: a JSON message
)
