-- Every cut length on file, with the shipment it left in. Grain: one row a cut length; shipment is NULL while none is on file. Reads placed.cut, journal.shipment.
SELECT cut.length_id, cut.reel_id, cut.from_outer_m, cut.to_outer_m, cut.use, cut.at_utc, cut.entry_no,
    shipment.shipment, shipment.to_place, shipment.at_utc AS shipped_utc
FROM placed.cut AS cut
LEFT JOIN journal.shipment AS shipment ON shipment.item = cut.length_id AND shipment.item_kind = 'cut length'
ORDER BY cut.reel_id, cut.from_outer_m, cut.length_id
