-- What was heard of a horse's name that is no horse's of the log; '' where nothing was.
ALTER TABLE visits ADD COLUMN horse_said TEXT;
