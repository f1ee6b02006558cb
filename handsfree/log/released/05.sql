
ALTER TABLE horses ADD COLUMN breed TEXT;
ALTER TABLE horses ADD COLUMN born TEXT;  -- YYYY, or YYYY-MM-DD where the day is known
