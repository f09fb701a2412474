-- The lengths cut from the reels of assessment $assessment_id, with the shipment each left in. Grain: one row a cut length. Reads placed.reel, placed.cut, journal.shipment.
SELECT cut.length_id, cut.reel_id, cut.from_outer_m, cut.to_outer_m, cut.use, cut.at_utc, cut.entry_no,
    shipment.shipment, shipment.to_place, shipment.at_utc AS shipped_utc, shipment.entry_no AS shipped_entry_no
FROM placed.reel AS reel
JOIN placed.cut AS cut ON cut.reel_id = reel.reel_id
LEFT JOIN journal.shipment AS shipment ON shipment.item = cut.length_id AND shipment.item_kind = 'cut length'
WHERE reel.assessment_id = $assessment_id
ORDER BY cut.reel_id, cut.from_outer_m, cut.length_id
