"""What shows that nothing was changed: roots, anchors, packs, verification, declarations, events to share."""
