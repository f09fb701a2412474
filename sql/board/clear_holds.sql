-- Take every hold away, to be put anew.
DELETE FROM hold
