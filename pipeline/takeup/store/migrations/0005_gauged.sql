-- What an inspection gauges with calipers or a wedge, and the clearance that the site's drawing asks for.
ALTER TABLE inspection_findings ADD COLUMN sidebar_height_now_mm DOUBLE;
ALTER TABLE inspection_findings ADD COLUMN clearance_now_mm DOUBLE;
ALTER TABLE strands ADD COLUMN clearance_min_mm DOUBLE;
