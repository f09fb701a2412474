-- What journal entry $entry_no keeps of shipments. Grain: one row a reel or cut length shipped. Reads journal.shipment.
SELECT item, item_kind, shipment, to_place, at_utc, entry_no
FROM journal.shipment
WHERE entry_no = $entry_no
ORDER BY shipment, item
