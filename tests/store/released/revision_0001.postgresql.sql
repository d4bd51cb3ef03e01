CREATE EXTENSION IF NOT EXISTS btree_gist WITH SCHEMA public;
CREATE FUNCTION gwnet_kept() RETURNS trigger
LANGUAGE plpgsql
AS $$
BEGIN
RAISE EXCEPTION 'rows of % are never %', TG_TABLE_NAME,
CASE TG_OP WHEN 'DELETE' THEN 'deleted' ELSE 'altered' END;
END $$;
CREATE TABLE adjustment (
series_id integer NOT NULL,
kind text NOT NULL,
parameters text NOT NULL,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_adjustment_ck_adjustment_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_adjustment_ck_adjustment_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_adjustment_ck_adjustment_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE adjustment_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE adjustment_id_seq OWNED BY adjustment.id;
CREATE TABLE alembic_version (
version_num character varying(32) NOT NULL
);
CREATE TABLE aquifer (
id integer NOT NULL,
code text NOT NULL
);
CREATE SEQUENCE aquifer_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE aquifer_id_seq OWNED BY aquifer.id;
CREATE TABLE aquifer_record (
aquifer_id integer NOT NULL,
name text,
confinement text,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_aquifer_record_ck_aquifer_record_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_aquifer_record_ck_aquifer_record_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_aquifer_record_ck_aquifer_record_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE aquifer_record_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE aquifer_record_id_seq OWNED BY aquifer_record.id;
CREATE TABLE construction_part (
well_id integer NOT NULL,
part text NOT NULL,
top_depth_m double precision NOT NULL,
bottom_depth_m double precision NOT NULL,
diameter_mm double precision,
material text,
installed_on date,
removed_on date,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_construction_part_ck_construction_part_bottom_below_top CHECK ((bottom_depth_m >= top_depth_m)),
CONSTRAINT ck_construction_part_ck_construction_part_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_construction_part_ck_construction_part_retired_after_ced5 CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_construction_part_ck_construction_part_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE construction_part_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE construction_part_id_seq OWNED BY construction_part.id;
CREATE TABLE context_series (
id integer NOT NULL,
site_id integer NOT NULL,
code text NOT NULL
);
CREATE SEQUENCE context_series_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE context_series_id_seq OWNED BY context_series.id;
CREATE TABLE context_value (
context_series_id integer NOT NULL,
on_date date NOT NULL,
quantity text NOT NULL,
unit text NOT NULL,
value double precision NOT NULL,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_context_value_ck_context_value_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_context_value_ck_context_value_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_context_value_ck_context_value_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE context_value_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE context_value_id_seq OWNED BY context_value.id;
CREATE TABLE deployment (
site_id integer NOT NULL,
well_id integer,
instrument_id integer NOT NULL,
hanging_depth_m double precision,
barometer_id integer,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_deployment_ck_deployment_hung_at_given CHECK ((valid_from_utc IS NOT NULL)),
CONSTRAINT ck_deployment_ck_deployment_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_deployment_ck_deployment_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_deployment_ck_deployment_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE deployment_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE deployment_id_seq OWNED BY deployment.id;
CREATE TABLE gauge (
id integer NOT NULL,
site_id integer NOT NULL,
code text NOT NULL
);
CREATE SEQUENCE gauge_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE gauge_id_seq OWNED BY gauge.id;
CREATE TABLE gauging_round (
id integer NOT NULL,
site_id integer NOT NULL,
code text NOT NULL
);
CREATE SEQUENCE gauging_round_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE gauging_round_id_seq OWNED BY gauging_round.id;
CREATE TABLE instrument (
id integer NOT NULL,
code text NOT NULL
);
CREATE SEQUENCE instrument_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE instrument_id_seq OWNED BY instrument.id;
CREATE TABLE instrument_record (
instrument_id integer NOT NULL,
kind text NOT NULL,
serial text,
length_unit text,
length_below_sensing_point_m double precision,
resolution_m double precision,
accuracy_m double precision,
range_m double precision,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_instrument_record_ck_instrument_record_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_instrument_record_ck_instrument_record_retired_after_09ca CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_instrument_record_ck_instrument_record_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE instrument_record_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE instrument_record_id_seq OWNED BY instrument_record.id;
CREATE TABLE level_event (
id integer NOT NULL,
well_id integer NOT NULL,
access text NOT NULL,
measured_at_utc timestamptz NOT NULL,
time_known boolean NOT NULL,
event text NOT NULL
);
CREATE SEQUENCE level_event_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE level_event_id_seq OWNED BY level_event.id;
CREATE TABLE level_reading (
level_record_id integer NOT NULL,
quantity text NOT NULL,
ordinal integer NOT NULL,
value double precision NOT NULL,
unit text NOT NULL,
written text NOT NULL
);
CREATE TABLE level_record (
level_event_id integer NOT NULL,
gauging_round_id integer,
status text NOT NULL,
local_offset_minutes integer NOT NULL,
instrument_id integer,
method text,
observer text,
product_relative_density double precision,
chosen_reading integer,
discharge_l_s double precision,
quality text,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_level_record_ck_level_record_chosen_reading_known CHECK (((chosen_reading IS NULL) OR ((chosen_reading >= 1) AND (chosen_reading <= 3)))),
CONSTRAINT ck_level_record_ck_level_record_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_level_record_ck_level_record_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_level_record_ck_level_record_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE level_record_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE level_record_id_seq OWNED BY level_record.id;
CREATE TABLE logger_series (
id integer NOT NULL,
instrument_id integer NOT NULL,
deployment_id integer,
quantity text NOT NULL,
unit text NOT NULL
);
CREATE SEQUENCE logger_series_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE logger_series_id_seq OWNED BY logger_series.id;
CREATE TABLE measuring_point (
well_id integer NOT NULL,
access text NOT NULL,
elevation_m double precision NOT NULL,
height_above_ground_m double precision,
vertical_datum text,
description text,
surveyed_on date,
surveyed_by text,
survey_method text,
accuracy_m double precision,
change text,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_measuring_point_ck_measuring_point_accuracy_not_negative CHECK (((accuracy_m IS NULL) OR (accuracy_m >= (0)::double precision))),
CONSTRAINT ck_measuring_point_ck_measuring_point_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_measuring_point_ck_measuring_point_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_measuring_point_ck_measuring_point_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL))),
CONSTRAINT ck_measuring_point_ck_measuring_point_valid_from_given CHECK ((valid_from_utc IS NOT NULL))
);
CREATE SEQUENCE measuring_point_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE measuring_point_id_seq OWNED BY measuring_point.id;
CREATE TABLE report_issue (
definition text NOT NULL,
definition_sha256 text NOT NULL,
period text NOT NULL,
known_on_utc timestamptz NOT NULL,
sha256 text NOT NULL,
printed_values text NOT NULL,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_report_issue_ck_report_issue_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_report_issue_ck_report_issue_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_report_issue_ck_report_issue_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL))),
CONSTRAINT ck_report_issue_ck_report_issue_sha256_whole CHECK ((length(sha256) = 64))
);
CREATE SEQUENCE report_issue_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE report_issue_id_seq OWNED BY report_issue.id;
CREATE TABLE review (
level_event_id integer,
verdict_id integer,
state text NOT NULL,
remark text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_review_ck_review_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_review_ck_review_of_event_or_verdict CHECK (((level_event_id IS NULL) <> (verdict_id IS NULL))),
CONSTRAINT ck_review_ck_review_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_review_ck_review_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE review_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE review_id_seq OWNED BY review.id;
CREATE TABLE round_record (
gauging_round_id integer NOT NULL,
starts_on date NOT NULL,
ends_on date,
purpose text,
wells text NOT NULL,
crew text,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_round_record_ck_round_record_ends_after_start CHECK (((ends_on IS NULL) OR (ends_on >= starts_on))),
CONSTRAINT ck_round_record_ck_round_record_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_round_record_ck_round_record_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_round_record_ck_round_record_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE round_record_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE round_record_id_seq OWNED BY round_record.id;
CREATE TABLE sample (
series_id integer NOT NULL,
time_ms bigint NOT NULL,
value double precision,
flag integer
);
CREATE TABLE site (
id integer NOT NULL,
code text NOT NULL
);
CREATE SEQUENCE site_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE site_id_seq OWNED BY site.id;
CREATE TABLE site_record (
site_id integer NOT NULL,
name text,
crs text NOT NULL,
vertical_datum text NOT NULL,
length_unit text NOT NULL,
time_zone text NOT NULL,
repeat_tolerance_m double precision,
same_day_window_days double precision,
gauging_interval_days double precision,
resurvey_interval_days double precision,
tape_check_interval_days double precision,
sounding_interval_days double precision,
logger_visit_interval_days double precision,
self_review boolean,
check_limits text,
operator text,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_site_record_ck_site_record_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_site_record_ck_site_record_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_site_record_ck_site_record_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL))),
CONSTRAINT ck_site_record_ck_site_record_tolerance_not_negative CHECK (((repeat_tolerance_m IS NULL) OR (repeat_tolerance_m >= (0)::double precision))),
CONSTRAINT ck_site_record_ck_site_record_window_not_negative CHECK (((same_day_window_days IS NULL) OR (same_day_window_days >= (0)::double precision)))
);
CREATE SEQUENCE site_record_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE site_record_id_seq OWNED BY site_record.id;
CREATE TABLE source_file (
id integer NOT NULL,
name text NOT NULL,
sha256 text NOT NULL,
size_bytes integer NOT NULL,
content bytea NOT NULL,
layout text NOT NULL,
row_count integer NOT NULL,
loaded_at_utc timestamptz NOT NULL,
loaded_by text NOT NULL
);
CREATE SEQUENCE source_file_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE source_file_id_seq OWNED BY source_file.id;
CREATE TABLE stage_reading (
gauge_id integer NOT NULL,
measured_at_utc timestamptz NOT NULL,
time_known boolean NOT NULL,
water_elevation_m double precision NOT NULL,
easting double precision,
northing double precision,
aquifer_id integer,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_stage_reading_ck_stage_reading_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_stage_reading_ck_stage_reading_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_stage_reading_ck_stage_reading_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE stage_reading_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE stage_reading_id_seq OWNED BY stage_reading.id;
CREATE TABLE tape_check (
instrument_id integer NOT NULL,
checked_on date NOT NULL,
tape_reading_m double precision NOT NULL,
reference_reading_m double precision NOT NULL,
checked_by text,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_tape_check_ck_tape_check_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_tape_check_ck_tape_check_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_tape_check_ck_tape_check_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE tape_check_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE tape_check_id_seq OWNED BY tape_check.id;
CREATE TABLE threshold (
well_id integer NOT NULL,
threshold text NOT NULL,
kind text NOT NULL,
quantity text NOT NULL,
value_m double precision NOT NULL,
consecutive integer NOT NULL,
basis text,
action text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_threshold_ck_threshold_consecutive_positive CHECK ((consecutive >= 1)),
CONSTRAINT ck_threshold_ck_threshold_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_threshold_ck_threshold_kind_known CHECK ((kind = ANY (ARRAY['lower'::text, 'upper'::text]))),
CONSTRAINT ck_threshold_ck_threshold_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_threshold_ck_threshold_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE threshold_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE threshold_id_seq OWNED BY threshold.id;
CREATE TABLE verdict (
gauging_round_id integer,
well_id integer,
level_event_id integer,
rule text NOT NULL,
severity text NOT NULL,
limits text NOT NULL,
message text NOT NULL,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_verdict_ck_verdict_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_verdict_ck_verdict_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_verdict_ck_verdict_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL)))
);
CREATE SEQUENCE verdict_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE verdict_id_seq OWNED BY verdict.id;
CREATE TABLE well (
id integer NOT NULL,
site_id integer NOT NULL,
code text NOT NULL
);
CREATE SEQUENCE well_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE well_id_seq OWNED BY well.id;
CREATE TABLE well_record (
well_id integer NOT NULL,
easting double precision,
northing double precision,
longitude double precision,
latitude double precision,
coordinate_accuracy_m double precision,
aquifer_id integer,
cluster text,
purpose text,
role text,
ground_elevation_m double precision,
ground_accuracy_m double precision,
total_depth_m double precision,
drilled_on date,
decommissioned_on date,
replaced_by text,
access_notes text,
hazards text,
notes text,
id integer NOT NULL,
valid_from_utc timestamptz,
valid_until_utc timestamptz,
recorded_at_utc timestamptz NOT NULL,
recorded_by text NOT NULL,
reason text,
retired_at_utc timestamptz,
retired_by text,
retired_reason text,
source_row integer,
as_written text,
source_file_id integer,
CONSTRAINT ck_well_record_ck_well_record_interval_forward CHECK (((valid_from_utc IS NULL) OR (valid_until_utc IS NULL) OR (valid_until_utc > valid_from_utc))),
CONSTRAINT ck_well_record_ck_well_record_retired_after_recorded CHECK (((retired_at_utc IS NULL) OR (retired_at_utc >= recorded_at_utc))),
CONSTRAINT ck_well_record_ck_well_record_retired_by_somebody CHECK (((retired_at_utc IS NULL) = (retired_by IS NULL))),
CONSTRAINT ck_well_record_ck_well_record_total_depth_positive CHECK (((total_depth_m IS NULL) OR (total_depth_m > (0)::double precision)))
);
CREATE SEQUENCE well_record_id_seq
AS integer
START WITH 1
INCREMENT BY 1
NO MINVALUE
NO MAXVALUE
CACHE 1;
ALTER SEQUENCE well_record_id_seq OWNED BY well_record.id;
ALTER TABLE ONLY adjustment ALTER COLUMN id SET DEFAULT nextval('adjustment_id_seq'::regclass);
ALTER TABLE ONLY aquifer ALTER COLUMN id SET DEFAULT nextval('aquifer_id_seq'::regclass);
ALTER TABLE ONLY aquifer_record ALTER COLUMN id SET DEFAULT nextval('aquifer_record_id_seq'::regclass);
ALTER TABLE ONLY construction_part ALTER COLUMN id SET DEFAULT nextval('construction_part_id_seq'::regclass);
ALTER TABLE ONLY context_series ALTER COLUMN id SET DEFAULT nextval('context_series_id_seq'::regclass);
ALTER TABLE ONLY context_value ALTER COLUMN id SET DEFAULT nextval('context_value_id_seq'::regclass);
ALTER TABLE ONLY deployment ALTER COLUMN id SET DEFAULT nextval('deployment_id_seq'::regclass);
ALTER TABLE ONLY gauge ALTER COLUMN id SET DEFAULT nextval('gauge_id_seq'::regclass);
ALTER TABLE ONLY gauging_round ALTER COLUMN id SET DEFAULT nextval('gauging_round_id_seq'::regclass);
ALTER TABLE ONLY instrument ALTER COLUMN id SET DEFAULT nextval('instrument_id_seq'::regclass);
ALTER TABLE ONLY instrument_record ALTER COLUMN id SET DEFAULT nextval('instrument_record_id_seq'::regclass);
ALTER TABLE ONLY level_event ALTER COLUMN id SET DEFAULT nextval('level_event_id_seq'::regclass);
ALTER TABLE ONLY level_record ALTER COLUMN id SET DEFAULT nextval('level_record_id_seq'::regclass);
ALTER TABLE ONLY logger_series ALTER COLUMN id SET DEFAULT nextval('logger_series_id_seq'::regclass);
ALTER TABLE ONLY measuring_point ALTER COLUMN id SET DEFAULT nextval('measuring_point_id_seq'::regclass);
ALTER TABLE ONLY report_issue ALTER COLUMN id SET DEFAULT nextval('report_issue_id_seq'::regclass);
ALTER TABLE ONLY review ALTER COLUMN id SET DEFAULT nextval('review_id_seq'::regclass);
ALTER TABLE ONLY round_record ALTER COLUMN id SET DEFAULT nextval('round_record_id_seq'::regclass);
ALTER TABLE ONLY site ALTER COLUMN id SET DEFAULT nextval('site_id_seq'::regclass);
ALTER TABLE ONLY site_record ALTER COLUMN id SET DEFAULT nextval('site_record_id_seq'::regclass);
ALTER TABLE ONLY source_file ALTER COLUMN id SET DEFAULT nextval('source_file_id_seq'::regclass);
ALTER TABLE ONLY stage_reading ALTER COLUMN id SET DEFAULT nextval('stage_reading_id_seq'::regclass);
ALTER TABLE ONLY tape_check ALTER COLUMN id SET DEFAULT nextval('tape_check_id_seq'::regclass);
ALTER TABLE ONLY threshold ALTER COLUMN id SET DEFAULT nextval('threshold_id_seq'::regclass);
ALTER TABLE ONLY verdict ALTER COLUMN id SET DEFAULT nextval('verdict_id_seq'::regclass);
ALTER TABLE ONLY well ALTER COLUMN id SET DEFAULT nextval('well_id_seq'::regclass);
ALTER TABLE ONLY well_record ALTER COLUMN id SET DEFAULT nextval('well_record_id_seq'::regclass);
INSERT INTO adjustment VALUES
(2, 'step', '{"amount_m": 0.1}', 1, '2024-03-01 08:00:00+00', NULL, '2024-03-02 09:00:00+00', 'Ana', 'slipped', NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO alembic_version VALUES
('0001');
INSERT INTO aquifer VALUES
(1, 'upper');
INSERT INTO aquifer_record VALUES
(1, 'Upper gravel', 'unconfined', NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO construction_part VALUES
(1, 'screen', 12, 18, 50, 'PVC', NULL, NULL, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO context_series VALUES
(1, 1, 'rain');
INSERT INTO context_value VALUES
(1, '2024-03-01', 'rainfall', 'mm', 3.5, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO deployment VALUES
(1, 1, 1, 12.5, 2, NULL, 1, '2024-03-01 08:00:00+00', '2024-06-09 08:00:00+00', '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1),
(1, 1, 1, 12.5, NULL, NULL, 2, '2024-06-09 08:00:00+00', NULL, '2024-06-10 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1),
(1, NULL, 2, NULL, NULL, NULL, 3, '2024-03-01 08:00:00+00', NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO gauge VALUES
(1, 1, 'G1');
INSERT INTO gauging_round VALUES
(1, 1, '2024-Q1');
INSERT INTO instrument VALUES
(1, 'L1'),
(2, 'L2'),
(3, 'T1');
INSERT INTO instrument_record VALUES
(1, 'absolute pressure logger', '77', NULL, NULL, NULL, NULL, 20, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1),
(2, 'barometer', NULL, NULL, NULL, NULL, NULL, NULL, NULL, 2, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1),
(3, 'electric tape', NULL, 'm', 0.11, NULL, NULL, NULL, NULL, 3, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO level_event VALUES
(1, 1, 'main', '2024-03-01 08:00:00+00', true, ''),
(2, 1, 'main', '2024-03-02 08:00:00+00', false, '7');
INSERT INTO level_reading VALUES
(1, 'depth_to_water', 1, 3.25, 'm', '3,25'),
(1, 'depth_to_water', 2, 10.7, 'ft', '10.7');
INSERT INTO level_record VALUES
(1, 1, 'static', 60, 3, NULL, NULL, NULL, NULL, NULL, NULL, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1),
(2, NULL, 'dry', 60, NULL, NULL, NULL, NULL, NULL, NULL, 'good', NULL, 2, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, '2024-04-02 09:00:00+00', 'Ben', 'misread', 2, NULL, 1),
(2, NULL, 'pumping', 60, NULL, NULL, NULL, NULL, NULL, 0.5, NULL, NULL, 3, NULL, NULL, '2024-04-02 09:00:00+00', 'Ben', 'misread', NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO logger_series VALUES
(1, 1, 1, 'water pressure', 'kPa'),
(2, 1, 2, 'water pressure', 'kPa'),
(3, 2, NULL, 'air pressure', 'hPa'),
(4, 2, NULL, 'battery', 'V');
INSERT INTO measuring_point VALUES
(1, 'main', 100.7, 0.7, NULL, NULL, '2018-01-01', NULL, NULL, 0.005, NULL, NULL, 1, '2021-06-05 08:00:00+00', '2024-03-11 08:00:00+00', '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1),
(1, 'main', 100.65, NULL, NULL, NULL, NULL, NULL, NULL, NULL, 'altered', NULL, 2, '2024-03-11 08:00:00+00', NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO report_issue VALUES
('quarterly', '1111111111111111111111111111111111111111111111111111111111111111', '2024-Q1', '2024-03-02 09:00:00+00', '2222222222222222222222222222222222222222222222222222222222222222', '[]', 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO review VALUES
(1, NULL, 'approved', NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', 'looks right', NULL, NULL, NULL, 2, NULL, 1),
(NULL, 1, 'accepted', NULL, 2, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO round_record VALUES
(1, '2024-03-01', '2024-03-02', NULL, '["MW-1"]', NULL, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO sample VALUES
(1, 1720000000000, 1, NULL),
(1, 1720000060000, 1.125, NULL),
(1, 1720000120000, 1.25, NULL),
(1, 1720000180000, 1.375, NULL),
(1, 1720000240000, 1.5, NULL),
(2, 1720000000000, 2, NULL),
(2, 1720000060000, 2.125, NULL),
(2, 1720000120000, 2.25, NULL),
(2, 1720000180000, 2.375, NULL),
(2, 1720000240000, 2.5, NULL),
(3, 1720000000000, 3, NULL),
(3, 1720000060000, 3.125, NULL),
(3, 1720000120000, 3.25, NULL),
(3, 1720000180000, 3.375, NULL),
(3, 1720000240000, 3.5, NULL),
(3, 1730000000000, NULL, 2);
INSERT INTO site VALUES
(1, 'S');
INSERT INTO site_record VALUES
(1, 'Meadow', 'EPSG:25832', 'local', 'ft', 'Europe/Vienna', 0.01, NULL, 90, NULL, NULL, NULL, NULL, true, '{"spike": 0.1}', NULL, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO source_file VALUES
(1, 'wells.csv', '0000000000000000000000000000000000000000000000000000000000000000', 17, '\x789c2bce2c49d5294fcdc9e10ad6f10dd735e40200362e052b', 'wells', 2, '2024-03-02 09:00:00+00', 'Ana');
INSERT INTO stage_reading VALUES
(1, '2024-03-01 08:00:00+00', true, 99.125, NULL, NULL, 1, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO tape_check VALUES
(3, '2024-01-09', 30, 29.99, NULL, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO threshold VALUES
(1, 'low', 'lower', 'depth_to_water', 9.5, 2, NULL, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO verdict VALUES
(NULL, NULL, 1, 'repeats disagree', 'serious', '{}', 'They differ.', 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
INSERT INTO well VALUES
(1, 1, 'MW-1'),
(2, 1, 'MW-2');
INSERT INTO well_record VALUES
(1, 500000, NULL, NULL, NULL, NULL, 1, NULL, NULL, NULL, NULL, NULL, 20, NULL, NULL, NULL, NULL, NULL, NULL, 1, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, '2024-04-02 09:00:00+00', 'Ben', 'misread', 2, '{"well": "MW-1"}', 1),
(1, 500000.5, 5300000.25, NULL, NULL, NULL, 1, NULL, NULL, NULL, NULL, NULL, 20, NULL, NULL, NULL, NULL, NULL, NULL, 2, NULL, NULL, '2024-04-02 09:00:00+00', 'Ben', 'misread', NULL, NULL, NULL, 2, NULL, 1),
(2, NULL, NULL, 9, 47.85, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, '2010-05-01', NULL, NULL, NULL, 'ditch', 'ü', 3, NULL, NULL, '2024-03-02 09:00:00+00', 'Ana', NULL, NULL, NULL, NULL, 2, NULL, 1);
SELECT pg_catalog.setval('adjustment_id_seq', 1, true);
SELECT pg_catalog.setval('aquifer_id_seq', 1, true);
SELECT pg_catalog.setval('aquifer_record_id_seq', 1, true);
SELECT pg_catalog.setval('construction_part_id_seq', 1, true);
SELECT pg_catalog.setval('context_series_id_seq', 1, true);
SELECT pg_catalog.setval('context_value_id_seq', 1, true);
SELECT pg_catalog.setval('deployment_id_seq', 3, true);
SELECT pg_catalog.setval('gauge_id_seq', 1, true);
SELECT pg_catalog.setval('gauging_round_id_seq', 1, true);
SELECT pg_catalog.setval('instrument_id_seq', 3, true);
SELECT pg_catalog.setval('instrument_record_id_seq', 3, true);
SELECT pg_catalog.setval('level_event_id_seq', 2, true);
SELECT pg_catalog.setval('level_record_id_seq', 3, true);
SELECT pg_catalog.setval('logger_series_id_seq', 4, true);
SELECT pg_catalog.setval('measuring_point_id_seq', 2, true);
SELECT pg_catalog.setval('report_issue_id_seq', 1, true);
SELECT pg_catalog.setval('review_id_seq', 2, true);
SELECT pg_catalog.setval('round_record_id_seq', 1, true);
SELECT pg_catalog.setval('site_id_seq', 1, true);
SELECT pg_catalog.setval('site_record_id_seq', 1, true);
SELECT pg_catalog.setval('source_file_id_seq', 1, true);
SELECT pg_catalog.setval('stage_reading_id_seq', 1, true);
SELECT pg_catalog.setval('tape_check_id_seq', 1, true);
SELECT pg_catalog.setval('threshold_id_seq', 1, true);
SELECT pg_catalog.setval('verdict_id_seq', 1, true);
SELECT pg_catalog.setval('well_id_seq', 2, true);
SELECT pg_catalog.setval('well_record_id_seq', 3, true);
ALTER TABLE ONLY alembic_version
ADD CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num);
ALTER TABLE ONLY measuring_point
ADD CONSTRAINT ex_measuring_point_no_overlap EXCLUDE USING gist (well_id WITH =, access WITH =, tstzrange(valid_from_utc, valid_until_utc, '[)'::text) WITH &&) WHERE ((retired_at_utc IS NULL));
ALTER TABLE ONLY adjustment
ADD CONSTRAINT pk_adjustment PRIMARY KEY (id);
ALTER TABLE ONLY aquifer
ADD CONSTRAINT pk_aquifer PRIMARY KEY (id);
ALTER TABLE ONLY aquifer_record
ADD CONSTRAINT pk_aquifer_record PRIMARY KEY (id);
ALTER TABLE ONLY construction_part
ADD CONSTRAINT pk_construction_part PRIMARY KEY (id);
ALTER TABLE ONLY context_series
ADD CONSTRAINT pk_context_series PRIMARY KEY (id);
ALTER TABLE ONLY context_value
ADD CONSTRAINT pk_context_value PRIMARY KEY (id);
ALTER TABLE ONLY deployment
ADD CONSTRAINT pk_deployment PRIMARY KEY (id);
ALTER TABLE ONLY gauge
ADD CONSTRAINT pk_gauge PRIMARY KEY (id);
ALTER TABLE ONLY gauging_round
ADD CONSTRAINT pk_gauging_round PRIMARY KEY (id);
ALTER TABLE ONLY instrument
ADD CONSTRAINT pk_instrument PRIMARY KEY (id);
ALTER TABLE ONLY instrument_record
ADD CONSTRAINT pk_instrument_record PRIMARY KEY (id);
ALTER TABLE ONLY level_event
ADD CONSTRAINT pk_level_event PRIMARY KEY (id);
ALTER TABLE ONLY level_reading
ADD CONSTRAINT pk_level_reading PRIMARY KEY (level_record_id, quantity, ordinal);
ALTER TABLE ONLY level_record
ADD CONSTRAINT pk_level_record PRIMARY KEY (id);
ALTER TABLE ONLY logger_series
ADD CONSTRAINT pk_logger_series PRIMARY KEY (id);
ALTER TABLE ONLY measuring_point
ADD CONSTRAINT pk_measuring_point PRIMARY KEY (id);
ALTER TABLE ONLY report_issue
ADD CONSTRAINT pk_report_issue PRIMARY KEY (id);
ALTER TABLE ONLY review
ADD CONSTRAINT pk_review PRIMARY KEY (id);
ALTER TABLE ONLY round_record
ADD CONSTRAINT pk_round_record PRIMARY KEY (id);
ALTER TABLE ONLY sample
ADD CONSTRAINT pk_sample PRIMARY KEY (series_id, time_ms);
ALTER TABLE ONLY site
ADD CONSTRAINT pk_site PRIMARY KEY (id);
ALTER TABLE ONLY site_record
ADD CONSTRAINT pk_site_record PRIMARY KEY (id);
ALTER TABLE ONLY source_file
ADD CONSTRAINT pk_source_file PRIMARY KEY (id);
ALTER TABLE ONLY stage_reading
ADD CONSTRAINT pk_stage_reading PRIMARY KEY (id);
ALTER TABLE ONLY tape_check
ADD CONSTRAINT pk_tape_check PRIMARY KEY (id);
ALTER TABLE ONLY threshold
ADD CONSTRAINT pk_threshold PRIMARY KEY (id);
ALTER TABLE ONLY verdict
ADD CONSTRAINT pk_verdict PRIMARY KEY (id);
ALTER TABLE ONLY well
ADD CONSTRAINT pk_well PRIMARY KEY (id);
ALTER TABLE ONLY well_record
ADD CONSTRAINT pk_well_record PRIMARY KEY (id);
CREATE INDEX ix_adjustment_series_id ON adjustment USING btree (series_id);
CREATE INDEX ix_level_record_gauging_round_id ON level_record USING btree (gauging_round_id);
CREATE INDEX ix_verdict_gauging_round_id ON verdict USING btree (gauging_round_id);
CREATE INDEX ix_verdict_level_event_id ON verdict USING btree (level_event_id);
CREATE UNIQUE INDEX uq_aquifer_code ON aquifer USING btree (code);
CREATE UNIQUE INDEX uq_aquifer_record_live ON aquifer_record USING btree (aquifer_id) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_construction_part_live ON construction_part USING btree (well_id, part, top_depth_m) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_context_series_site_code ON context_series USING btree (site_id, code);
CREATE UNIQUE INDEX uq_context_value_live ON context_value USING btree (context_series_id, on_date) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_deployment_live ON deployment USING btree (instrument_id, valid_from_utc) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_gauge_site_code ON gauge USING btree (site_id, code);
CREATE UNIQUE INDEX uq_gauging_round_site_code ON gauging_round USING btree (site_id, code);
CREATE UNIQUE INDEX uq_instrument_code ON instrument USING btree (code);
CREATE UNIQUE INDEX uq_instrument_record_live ON instrument_record USING btree (instrument_id) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_level_event_key ON level_event USING btree (well_id, measured_at_utc, access, time_known, event);
CREATE UNIQUE INDEX uq_level_record_live ON level_record USING btree (level_event_id) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_logger_series_key ON logger_series USING btree (instrument_id, deployment_id, quantity);
CREATE UNIQUE INDEX uq_measuring_point_live ON measuring_point USING btree (well_id, access, valid_from_utc) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_report_issue_live ON report_issue USING btree (definition, period, sha256) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_review_live ON review USING btree (level_event_id) WHERE ((retired_at_utc IS NULL) AND (level_event_id IS NOT NULL));
CREATE UNIQUE INDEX uq_review_live_verdict ON review USING btree (verdict_id) WHERE ((retired_at_utc IS NULL) AND (verdict_id IS NOT NULL));
CREATE UNIQUE INDEX uq_round_record_live ON round_record USING btree (gauging_round_id) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_site_code ON site USING btree (code);
CREATE UNIQUE INDEX uq_site_record_live ON site_record USING btree (site_id) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_source_file_sha256 ON source_file USING btree (sha256);
CREATE UNIQUE INDEX uq_stage_reading_live ON stage_reading USING btree (gauge_id, measured_at_utc) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_tape_check_live ON tape_check USING btree (instrument_id, checked_on, tape_reading_m) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_threshold_live ON threshold USING btree (well_id, threshold, valid_from_utc) WHERE ((retired_at_utc IS NULL) AND (valid_from_utc IS NOT NULL));
CREATE UNIQUE INDEX uq_threshold_live_open ON threshold USING btree (well_id, threshold) WHERE ((retired_at_utc IS NULL) AND (valid_from_utc IS NULL));
CREATE UNIQUE INDEX uq_verdict_live ON verdict USING btree (level_event_id, rule) WHERE ((retired_at_utc IS NULL) AND (level_event_id IS NOT NULL));
CREATE UNIQUE INDEX uq_well_record_live ON well_record USING btree (well_id) WHERE (retired_at_utc IS NULL);
CREATE UNIQUE INDEX uq_well_site_code ON well USING btree (site_id, code);
CREATE TRIGGER tr_adjustment_kept BEFORE DELETE ON adjustment FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_aquifer_record_kept BEFORE DELETE ON aquifer_record FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_construction_part_kept BEFORE DELETE ON construction_part FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_context_value_kept BEFORE DELETE ON context_value FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_deployment_kept BEFORE DELETE ON deployment FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_instrument_record_kept BEFORE DELETE ON instrument_record FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_level_event_fixed BEFORE UPDATE ON level_event FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_level_event_kept BEFORE DELETE ON level_event FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_level_reading_fixed BEFORE UPDATE ON level_reading FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_level_reading_kept BEFORE DELETE ON level_reading FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_level_record_kept BEFORE DELETE ON level_record FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_measuring_point_kept BEFORE DELETE ON measuring_point FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_report_issue_kept BEFORE DELETE ON report_issue FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_review_kept BEFORE DELETE ON review FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_round_record_kept BEFORE DELETE ON round_record FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_sample_fixed BEFORE UPDATE ON sample FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_sample_kept BEFORE DELETE ON sample FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_site_record_kept BEFORE DELETE ON site_record FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_source_file_fixed BEFORE UPDATE ON source_file FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_source_file_kept BEFORE DELETE ON source_file FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_stage_reading_kept BEFORE DELETE ON stage_reading FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_tape_check_kept BEFORE DELETE ON tape_check FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_threshold_kept BEFORE DELETE ON threshold FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_verdict_kept BEFORE DELETE ON verdict FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
CREATE TRIGGER tr_well_record_kept BEFORE DELETE ON well_record FOR EACH ROW EXECUTE FUNCTION gwnet_kept();
ALTER TABLE ONLY adjustment
ADD CONSTRAINT fk_adjustment_series_id_logger_series FOREIGN KEY (series_id) REFERENCES logger_series(id);
ALTER TABLE ONLY adjustment
ADD CONSTRAINT fk_adjustment_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY aquifer_record
ADD CONSTRAINT fk_aquifer_record_aquifer_id_aquifer FOREIGN KEY (aquifer_id) REFERENCES aquifer(id);
ALTER TABLE ONLY aquifer_record
ADD CONSTRAINT fk_aquifer_record_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY construction_part
ADD CONSTRAINT fk_construction_part_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY construction_part
ADD CONSTRAINT fk_construction_part_well_id_well FOREIGN KEY (well_id) REFERENCES well(id);
ALTER TABLE ONLY context_series
ADD CONSTRAINT fk_context_series_site_id_site FOREIGN KEY (site_id) REFERENCES site(id);
ALTER TABLE ONLY context_value
ADD CONSTRAINT fk_context_value_context_series_id_context_series FOREIGN KEY (context_series_id) REFERENCES context_series(id);
ALTER TABLE ONLY context_value
ADD CONSTRAINT fk_context_value_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY deployment
ADD CONSTRAINT fk_deployment_barometer_id_instrument FOREIGN KEY (barometer_id) REFERENCES instrument(id);
ALTER TABLE ONLY deployment
ADD CONSTRAINT fk_deployment_instrument_id_instrument FOREIGN KEY (instrument_id) REFERENCES instrument(id);
ALTER TABLE ONLY deployment
ADD CONSTRAINT fk_deployment_site_id_site FOREIGN KEY (site_id) REFERENCES site(id);
ALTER TABLE ONLY deployment
ADD CONSTRAINT fk_deployment_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY deployment
ADD CONSTRAINT fk_deployment_well_id_well FOREIGN KEY (well_id) REFERENCES well(id);
ALTER TABLE ONLY gauge
ADD CONSTRAINT fk_gauge_site_id_site FOREIGN KEY (site_id) REFERENCES site(id);
ALTER TABLE ONLY gauging_round
ADD CONSTRAINT fk_gauging_round_site_id_site FOREIGN KEY (site_id) REFERENCES site(id);
ALTER TABLE ONLY instrument_record
ADD CONSTRAINT fk_instrument_record_instrument_id_instrument FOREIGN KEY (instrument_id) REFERENCES instrument(id);
ALTER TABLE ONLY instrument_record
ADD CONSTRAINT fk_instrument_record_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY level_event
ADD CONSTRAINT fk_level_event_well_id_well FOREIGN KEY (well_id) REFERENCES well(id);
ALTER TABLE ONLY level_reading
ADD CONSTRAINT fk_level_reading_level_record_id_level_record FOREIGN KEY (level_record_id) REFERENCES level_record(id);
ALTER TABLE ONLY level_record
ADD CONSTRAINT fk_level_record_gauging_round_id_gauging_round FOREIGN KEY (gauging_round_id) REFERENCES gauging_round(id);
ALTER TABLE ONLY level_record
ADD CONSTRAINT fk_level_record_instrument_id_instrument FOREIGN KEY (instrument_id) REFERENCES instrument(id);
ALTER TABLE ONLY level_record
ADD CONSTRAINT fk_level_record_level_event_id_level_event FOREIGN KEY (level_event_id) REFERENCES level_event(id);
ALTER TABLE ONLY level_record
ADD CONSTRAINT fk_level_record_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY logger_series
ADD CONSTRAINT fk_logger_series_deployment_id_deployment FOREIGN KEY (deployment_id) REFERENCES deployment(id);
ALTER TABLE ONLY logger_series
ADD CONSTRAINT fk_logger_series_instrument_id_instrument FOREIGN KEY (instrument_id) REFERENCES instrument(id);
ALTER TABLE ONLY measuring_point
ADD CONSTRAINT fk_measuring_point_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY measuring_point
ADD CONSTRAINT fk_measuring_point_well_id_well FOREIGN KEY (well_id) REFERENCES well(id);
ALTER TABLE ONLY report_issue
ADD CONSTRAINT fk_report_issue_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY review
ADD CONSTRAINT fk_review_level_event_id_level_event FOREIGN KEY (level_event_id) REFERENCES level_event(id);
ALTER TABLE ONLY review
ADD CONSTRAINT fk_review_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY review
ADD CONSTRAINT fk_review_verdict_id_verdict FOREIGN KEY (verdict_id) REFERENCES verdict(id);
ALTER TABLE ONLY round_record
ADD CONSTRAINT fk_round_record_gauging_round_id_gauging_round FOREIGN KEY (gauging_round_id) REFERENCES gauging_round(id);
ALTER TABLE ONLY round_record
ADD CONSTRAINT fk_round_record_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY sample
ADD CONSTRAINT fk_sample_series_id_logger_series FOREIGN KEY (series_id) REFERENCES logger_series(id);
ALTER TABLE ONLY site_record
ADD CONSTRAINT fk_site_record_site_id_site FOREIGN KEY (site_id) REFERENCES site(id);
ALTER TABLE ONLY site_record
ADD CONSTRAINT fk_site_record_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY stage_reading
ADD CONSTRAINT fk_stage_reading_aquifer_id_aquifer FOREIGN KEY (aquifer_id) REFERENCES aquifer(id);
ALTER TABLE ONLY stage_reading
ADD CONSTRAINT fk_stage_reading_gauge_id_gauge FOREIGN KEY (gauge_id) REFERENCES gauge(id);
ALTER TABLE ONLY stage_reading
ADD CONSTRAINT fk_stage_reading_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY tape_check
ADD CONSTRAINT fk_tape_check_instrument_id_instrument FOREIGN KEY (instrument_id) REFERENCES instrument(id);
ALTER TABLE ONLY tape_check
ADD CONSTRAINT fk_tape_check_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY threshold
ADD CONSTRAINT fk_threshold_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY threshold
ADD CONSTRAINT fk_threshold_well_id_well FOREIGN KEY (well_id) REFERENCES well(id);
ALTER TABLE ONLY verdict
ADD CONSTRAINT fk_verdict_gauging_round_id_gauging_round FOREIGN KEY (gauging_round_id) REFERENCES gauging_round(id);
ALTER TABLE ONLY verdict
ADD CONSTRAINT fk_verdict_level_event_id_level_event FOREIGN KEY (level_event_id) REFERENCES level_event(id);
ALTER TABLE ONLY verdict
ADD CONSTRAINT fk_verdict_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY verdict
ADD CONSTRAINT fk_verdict_well_id_well FOREIGN KEY (well_id) REFERENCES well(id);
ALTER TABLE ONLY well_record
ADD CONSTRAINT fk_well_record_aquifer_id_aquifer FOREIGN KEY (aquifer_id) REFERENCES aquifer(id);
ALTER TABLE ONLY well_record
ADD CONSTRAINT fk_well_record_source_file_id_source_file FOREIGN KEY (source_file_id) REFERENCES source_file(id);
ALTER TABLE ONLY well_record
ADD CONSTRAINT fk_well_record_well_id_well FOREIGN KEY (well_id) REFERENCES well(id);
ALTER TABLE ONLY well
ADD CONSTRAINT fk_well_site_id_site FOREIGN KEY (site_id) REFERENCES site(id);
