-- Who sold it: a bad batch is asked after there.
ALTER TABLE product ADD COLUMN supplier TEXT NOT NULL DEFAULT '';
