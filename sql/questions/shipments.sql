-- Everything that left the plant. Grain: one row a reel or cut length shipped. Reads journal.shipment.
SELECT item, item_kind, shipment, to_place, at_utc, entry_no
FROM journal.shipment
ORDER BY shipment, item
