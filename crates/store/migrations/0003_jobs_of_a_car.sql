-- The jobs of a car by time, without a walk through all jobs.
DROP INDEX subject_about;
CREATE INDEX subject_about ON subject (kind, about, opened_ms);
