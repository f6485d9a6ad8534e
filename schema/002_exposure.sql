-- How a clip was exposed, at its first frame; NULL where the camera does not tell, and for clips studied before this step
-- (`everytake study` reads them again).
ALTER TABLE clip ADD COLUMN iso           INTEGER;  -- exposure index
ALTER TABLE clip ADD COLUMN shutter       TEXT;     -- '1/50', s
ALTER TABLE clip ADD COLUMN white_balance INTEGER;  -- K
