-- How far the clock was from UTC where the visit was, as +02:00; NULL where that is not known.
ALTER TABLE visits ADD COLUMN zone TEXT;
