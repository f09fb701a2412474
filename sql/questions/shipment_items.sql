-- What left in shipment $shipment. Grain: one row a reel or cut length. Reads journal.shipment.
SELECT item, item_kind, shipment, to_place, at_utc, entry_no
FROM journal.shipment
WHERE shipment = $shipment
ORDER BY item
