-- The reels of assessment $assessment_id that left whole. Grain: one row a reel shipped. Reads placed.reel, journal.shipment.
SELECT reel.assessment_id, shipment.item, shipment.shipment, shipment.to_place, shipment.at_utc, shipment.entry_no
FROM placed.reel AS reel
JOIN journal.shipment AS shipment ON shipment.item = reel.reel_id AND shipment.item_kind = 'reel'
WHERE reel.assessment_id = $assessment_id
ORDER BY shipment.item
