-- The lengths cut from reel $reel_id, from the end that comes off first, with the shipment each left in. Grain: one row a cut length. Reads placed.cut, journal.shipment.
SELECT cut.length_id, cut.reel_id, cut.from_outer_m, cut.to_outer_m, cut.use, cut.at_utc, cut.entry_no,
    shipment.shipment, shipment.to_place, shipment.at_utc AS shipped_utc
FROM placed.cut AS cut
LEFT JOIN journal.shipment AS shipment ON shipment.item = cut.length_id AND shipment.item_kind = 'cut length'
WHERE cut.reel_id = $reel_id
ORDER BY cut.from_outer_m, cut.length_id
