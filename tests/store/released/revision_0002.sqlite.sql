BEGIN TRANSACTION;
CREATE TABLE adjustment (
	series_id INTEGER NOT NULL, 
	kind TEXT NOT NULL, 
	parameters TEXT NOT NULL, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_adjustment PRIMARY KEY (id), 
	CONSTRAINT fk_adjustment_series_id_logger_series FOREIGN KEY(series_id) REFERENCES logger_series (id), 
	CONSTRAINT ck_adjustment_ck_adjustment_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_adjustment_ck_adjustment_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_adjustment_ck_adjustment_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_adjustment_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "adjustment" VALUES(2,'step','{"amount_m": 0.1}',1,'2024-03-01 08:00:00.000000',NULL,'2024-03-02 09:00:00.000000','Ana','slipped',NULL,NULL,NULL,2,NULL,1);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0002');
CREATE TABLE aquifer (
	id INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	CONSTRAINT pk_aquifer PRIMARY KEY (id)
);
INSERT INTO "aquifer" VALUES(1,'upper');
CREATE TABLE aquifer_record (
	aquifer_id INTEGER NOT NULL, 
	name TEXT, 
	confinement TEXT, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_aquifer_record PRIMARY KEY (id), 
	CONSTRAINT fk_aquifer_record_aquifer_id_aquifer FOREIGN KEY(aquifer_id) REFERENCES aquifer (id), 
	CONSTRAINT ck_aquifer_record_ck_aquifer_record_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_aquifer_record_ck_aquifer_record_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_aquifer_record_ck_aquifer_record_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_aquifer_record_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "aquifer_record" VALUES(1,'Upper gravel','unconfined',NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE construction_part (
	well_id INTEGER NOT NULL, 
	part TEXT NOT NULL, 
	top_depth_m DOUBLE NOT NULL, 
	bottom_depth_m DOUBLE NOT NULL, 
	diameter_mm DOUBLE, 
	material TEXT, 
	installed_on DATE, 
	removed_on DATE, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_construction_part PRIMARY KEY (id), 
	CONSTRAINT ck_construction_part_ck_construction_part_bottom_below_top CHECK (bottom_depth_m >= top_depth_m), 
	CONSTRAINT fk_construction_part_well_id_well FOREIGN KEY(well_id) REFERENCES well (id), 
	CONSTRAINT ck_construction_part_ck_construction_part_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_construction_part_ck_construction_part_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_construction_part_ck_construction_part_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_construction_part_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "construction_part" VALUES(1,'screen',12.0,18.0,50.0,'PVC',NULL,NULL,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE context_series (
	id INTEGER NOT NULL, 
	site_id INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	CONSTRAINT pk_context_series PRIMARY KEY (id), 
	CONSTRAINT fk_context_series_site_id_site FOREIGN KEY(site_id) REFERENCES site (id)
);
INSERT INTO "context_series" VALUES(1,1,'rain');
CREATE TABLE context_value (
	context_series_id INTEGER NOT NULL, 
	on_date DATE NOT NULL, 
	quantity TEXT NOT NULL, 
	unit TEXT NOT NULL, 
	value DOUBLE NOT NULL, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_context_value PRIMARY KEY (id), 
	CONSTRAINT fk_context_value_context_series_id_context_series FOREIGN KEY(context_series_id) REFERENCES context_series (id), 
	CONSTRAINT ck_context_value_ck_context_value_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_context_value_ck_context_value_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_context_value_ck_context_value_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_context_value_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "context_value" VALUES(1,'2024-03-01','rainfall','mm',3.5,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE deployment (
	site_id INTEGER NOT NULL, 
	well_id INTEGER, 
	instrument_id INTEGER NOT NULL, 
	hanging_depth_m DOUBLE, 
	barometer_id INTEGER, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_deployment PRIMARY KEY (id), 
	CONSTRAINT ck_deployment_ck_deployment_hung_at_given CHECK (valid_from_utc IS NOT NULL), 
	CONSTRAINT fk_deployment_barometer_id_instrument FOREIGN KEY(barometer_id) REFERENCES instrument (id), 
	CONSTRAINT fk_deployment_instrument_id_instrument FOREIGN KEY(instrument_id) REFERENCES instrument (id), 
	CONSTRAINT fk_deployment_site_id_site FOREIGN KEY(site_id) REFERENCES site (id), 
	CONSTRAINT fk_deployment_well_id_well FOREIGN KEY(well_id) REFERENCES well (id), 
	CONSTRAINT ck_deployment_ck_deployment_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_deployment_ck_deployment_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_deployment_ck_deployment_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_deployment_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "deployment" VALUES(1,1,1,12.5,2,NULL,1,'2024-03-01 08:00:00.000000','2024-06-09 08:00:00.000000','2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
INSERT INTO "deployment" VALUES(1,1,1,12.5,NULL,NULL,2,'2024-06-09 08:00:00.000000',NULL,'2024-06-10 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
INSERT INTO "deployment" VALUES(1,NULL,2,NULL,NULL,NULL,3,'2024-03-01 08:00:00.000000',NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE download (
	series_id INTEGER NOT NULL, 
	layout TEXT NOT NULL, 
	layout_text TEXT, 
	zone TEXT NOT NULL, 
	first_ms BIGINT, 
	last_ms BIGINT, 
	row_count INTEGER NOT NULL, 
	added_count INTEGER NOT NULL, 
	same_count INTEGER NOT NULL, 
	repeated_count INTEGER NOT NULL, 
	conflict_count INTEGER NOT NULL, 
	missing_count INTEGER NOT NULL, 
	event_count INTEGER NOT NULL, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_download PRIMARY KEY (id), 
	CONSTRAINT fk_download_series_id_logger_series FOREIGN KEY(series_id) REFERENCES logger_series (id), 
	CONSTRAINT ck_download_ck_download_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_download_ck_download_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_download_ck_download_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_download_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "download" VALUES(1,'plain','x = 1','UTC',1720000000000,1720000240000,5,5,0,0,0,0,0,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
INSERT INTO "download" VALUES(2,'plain','x = 1','UTC',1720000000000,1720000240000,5,5,0,0,0,0,0,2,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
INSERT INTO "download" VALUES(3,'plain','x = 1','UTC',1720000000000,1720000240000,5,5,0,0,0,0,0,3,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE gauge (
	id INTEGER NOT NULL, 
	site_id INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	CONSTRAINT pk_gauge PRIMARY KEY (id), 
	CONSTRAINT fk_gauge_site_id_site FOREIGN KEY(site_id) REFERENCES site (id)
);
INSERT INTO "gauge" VALUES(1,1,'G1');
CREATE TABLE gauging_round (
	id INTEGER NOT NULL, 
	site_id INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	CONSTRAINT pk_gauging_round PRIMARY KEY (id), 
	CONSTRAINT fk_gauging_round_site_id_site FOREIGN KEY(site_id) REFERENCES site (id)
);
INSERT INTO "gauging_round" VALUES(1,1,'2024-Q1');
CREATE TABLE instrument (
	id INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	CONSTRAINT pk_instrument PRIMARY KEY (id)
);
INSERT INTO "instrument" VALUES(1,'L1');
INSERT INTO "instrument" VALUES(2,'L2');
INSERT INTO "instrument" VALUES(3,'T1');
CREATE TABLE instrument_record (
	instrument_id INTEGER NOT NULL, 
	kind TEXT NOT NULL, 
	serial TEXT, 
	length_unit TEXT, 
	length_below_sensing_point_m DOUBLE, 
	resolution_m DOUBLE, 
	accuracy_m DOUBLE, 
	range_m DOUBLE, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_instrument_record PRIMARY KEY (id), 
	CONSTRAINT fk_instrument_record_instrument_id_instrument FOREIGN KEY(instrument_id) REFERENCES instrument (id), 
	CONSTRAINT ck_instrument_record_ck_instrument_record_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_instrument_record_ck_instrument_record_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_instrument_record_ck_instrument_record_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_instrument_record_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "instrument_record" VALUES(1,'absolute pressure logger','77',NULL,NULL,NULL,NULL,20.0,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
INSERT INTO "instrument_record" VALUES(2,'barometer',NULL,NULL,NULL,NULL,NULL,NULL,NULL,2,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
INSERT INTO "instrument_record" VALUES(3,'electric tape',NULL,'m',0.11,NULL,NULL,NULL,NULL,3,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE level_event (
	id INTEGER NOT NULL, 
	well_id INTEGER NOT NULL, 
	access TEXT NOT NULL, 
	measured_at_utc DATETIME NOT NULL, 
	time_known BOOLEAN NOT NULL, 
	event TEXT NOT NULL, 
	CONSTRAINT pk_level_event PRIMARY KEY (id), 
	CONSTRAINT fk_level_event_well_id_well FOREIGN KEY(well_id) REFERENCES well (id)
);
INSERT INTO "level_event" VALUES(1,1,'main','2024-03-01 08:00:00.000000',1,'');
INSERT INTO "level_event" VALUES(2,1,'main','2024-03-02 08:00:00.000000',0,'7');
CREATE TABLE level_reading (
	level_record_id INTEGER NOT NULL, 
	quantity TEXT NOT NULL, 
	ordinal INTEGER NOT NULL, 
	value DOUBLE NOT NULL, 
	unit TEXT NOT NULL, 
	written TEXT NOT NULL, 
	CONSTRAINT pk_level_reading PRIMARY KEY (level_record_id, quantity, ordinal), 
	CONSTRAINT fk_level_reading_level_record_id_level_record FOREIGN KEY(level_record_id) REFERENCES level_record (id)
)
 WITHOUT ROWID

;
INSERT INTO "level_reading" VALUES(1,'depth_to_water',1,3.25,'m','3,25');
INSERT INTO "level_reading" VALUES(1,'depth_to_water',2,10.7,'ft','10.7');
CREATE TABLE level_record (
	level_event_id INTEGER NOT NULL, 
	gauging_round_id INTEGER, 
	status TEXT NOT NULL, 
	local_offset_minutes INTEGER NOT NULL, 
	instrument_id INTEGER, 
	method TEXT, 
	observer TEXT, 
	product_relative_density DOUBLE, 
	chosen_reading INTEGER, 
	discharge_l_s DOUBLE, 
	quality TEXT, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_level_record PRIMARY KEY (id), 
	CONSTRAINT ck_level_record_ck_level_record_chosen_reading_known CHECK (chosen_reading IS NULL OR chosen_reading BETWEEN 1 AND 3), 
	CONSTRAINT fk_level_record_gauging_round_id_gauging_round FOREIGN KEY(gauging_round_id) REFERENCES gauging_round (id), 
	CONSTRAINT fk_level_record_instrument_id_instrument FOREIGN KEY(instrument_id) REFERENCES instrument (id), 
	CONSTRAINT fk_level_record_level_event_id_level_event FOREIGN KEY(level_event_id) REFERENCES level_event (id), 
	CONSTRAINT ck_level_record_ck_level_record_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_level_record_ck_level_record_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_level_record_ck_level_record_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_level_record_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "level_record" VALUES(1,1,'static',60,3,NULL,NULL,NULL,NULL,NULL,NULL,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
INSERT INTO "level_record" VALUES(2,NULL,'dry',60,NULL,NULL,NULL,NULL,NULL,NULL,'good',NULL,2,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,'2024-04-02 09:00:00.000000','Ben','misread',2,NULL,1);
INSERT INTO "level_record" VALUES(2,NULL,'pumping',60,NULL,NULL,NULL,NULL,NULL,0.5,NULL,NULL,3,NULL,NULL,'2024-04-02 09:00:00.000000','Ben','misread',NULL,NULL,NULL,2,NULL,1);
CREATE TABLE logger_series (
	id INTEGER NOT NULL, 
	instrument_id INTEGER NOT NULL, 
	quantity TEXT NOT NULL, 
	unit TEXT NOT NULL, 
	take INTEGER NOT NULL, 
	CONSTRAINT pk_logger_series PRIMARY KEY (id), 
	CONSTRAINT ck_logger_series_ck_logger_series_take_counts CHECK (take >= 1), 
	CONSTRAINT fk_logger_series_instrument_id_instrument FOREIGN KEY(instrument_id) REFERENCES instrument (id)
);
INSERT INTO "logger_series" VALUES(1,1,'water pressure','kPa',1);
INSERT INTO "logger_series" VALUES(2,1,'water pressure','kPa',2);
INSERT INTO "logger_series" VALUES(3,2,'air pressure','hPa',1);
CREATE TABLE measuring_point (
	well_id INTEGER NOT NULL, 
	access TEXT NOT NULL, 
	elevation_m DOUBLE NOT NULL, 
	height_above_ground_m DOUBLE, 
	vertical_datum TEXT, 
	description TEXT, 
	surveyed_on DATE, 
	surveyed_by TEXT, 
	survey_method TEXT, 
	accuracy_m DOUBLE, 
	change TEXT, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_measuring_point PRIMARY KEY (id), 
	CONSTRAINT ck_measuring_point_ck_measuring_point_accuracy_not_negative CHECK (accuracy_m IS NULL OR accuracy_m >= 0), 
	CONSTRAINT ck_measuring_point_ck_measuring_point_valid_from_given CHECK (valid_from_utc IS NOT NULL), 
	CONSTRAINT fk_measuring_point_well_id_well FOREIGN KEY(well_id) REFERENCES well (id), 
	CONSTRAINT ck_measuring_point_ck_measuring_point_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_measuring_point_ck_measuring_point_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_measuring_point_ck_measuring_point_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_measuring_point_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "measuring_point" VALUES(1,'main',100.7,0.7,NULL,NULL,'2018-01-01',NULL,NULL,0.005,NULL,NULL,1,'2021-06-05 08:00:00.000000','2024-03-11 08:00:00.000000','2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
INSERT INTO "measuring_point" VALUES(1,'main',100.65,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'altered',NULL,2,'2024-03-11 08:00:00.000000',NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE register_entry (
	site_id INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	raised_on DATE NOT NULL, 
	raised_by TEXT NOT NULL, 
	text TEXT NOT NULL, 
	due_on DATE, 
	state TEXT NOT NULL, 
	answer TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_register_entry PRIMARY KEY (id), 
	CONSTRAINT ck_register_entry_ck_register_entry_kind_known CHECK (kind IN ('comment', 'promise')), 
	CONSTRAINT ck_register_entry_ck_register_entry_state_known CHECK (state IN ('open', 'answered', 'closed')), 
	CONSTRAINT fk_register_entry_site_id_site FOREIGN KEY(site_id) REFERENCES site (id), 
	CONSTRAINT ck_register_entry_ck_register_entry_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_register_entry_ck_register_entry_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_register_entry_ck_register_entry_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_register_entry_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "register_entry" VALUES(1,'E1','promise','2024-01-01','Rea','Clean the well',NULL,'open',NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE report_issue (
	definition TEXT NOT NULL, 
	definition_sha256 TEXT NOT NULL, 
	period TEXT NOT NULL, 
	known_on_utc DATETIME NOT NULL, 
	sha256 TEXT NOT NULL, 
	printed_values TEXT NOT NULL, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, site_id INTEGER CONSTRAINT fk_report_issue_site_id_site REFERENCES site (id), 
	CONSTRAINT pk_report_issue PRIMARY KEY (id), 
	CONSTRAINT ck_report_issue_ck_report_issue_sha256_whole CHECK (length(sha256) = 64), 
	CONSTRAINT ck_report_issue_ck_report_issue_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_report_issue_ck_report_issue_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_report_issue_ck_report_issue_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_report_issue_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "report_issue" VALUES('quarterly','1111111111111111111111111111111111111111111111111111111111111111','2024-Q1','2024-03-02 09:00:00.000000','2222222222222222222222222222222222222222222222222222222222222222','[]',1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1,1);
CREATE TABLE review (
	level_event_id INTEGER, 
	verdict_id INTEGER, 
	state TEXT NOT NULL, 
	remark TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_review PRIMARY KEY (id), 
	CONSTRAINT ck_review_ck_review_of_event_or_verdict CHECK ((level_event_id IS NULL) <> (verdict_id IS NULL)), 
	CONSTRAINT fk_review_level_event_id_level_event FOREIGN KEY(level_event_id) REFERENCES level_event (id), 
	CONSTRAINT fk_review_verdict_id_verdict FOREIGN KEY(verdict_id) REFERENCES verdict (id), 
	CONSTRAINT ck_review_ck_review_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_review_ck_review_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_review_ck_review_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_review_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "review" VALUES(1,NULL,'approved',NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana','looks right',NULL,NULL,NULL,2,NULL,1);
INSERT INTO "review" VALUES(NULL,1,'accepted',NULL,2,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE round_record (
	gauging_round_id INTEGER NOT NULL, 
	starts_on DATE NOT NULL, 
	ends_on DATE, 
	purpose TEXT, 
	wells TEXT NOT NULL, 
	crew TEXT, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_round_record PRIMARY KEY (id), 
	CONSTRAINT ck_round_record_ck_round_record_ends_after_start CHECK (ends_on IS NULL OR ends_on >= starts_on), 
	CONSTRAINT fk_round_record_gauging_round_id_gauging_round FOREIGN KEY(gauging_round_id) REFERENCES gauging_round (id), 
	CONSTRAINT ck_round_record_ck_round_record_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_round_record_ck_round_record_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_round_record_ck_round_record_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_round_record_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "round_record" VALUES(1,'2024-03-01','2024-03-02',NULL,'["MW-1"]',NULL,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE sample (
	series_id INTEGER NOT NULL, 
	time_ms BIGINT NOT NULL, 
	value DOUBLE, 
	flag INTEGER, 
	CONSTRAINT pk_sample PRIMARY KEY (series_id, time_ms)
)
 WITHOUT ROWID

;
INSERT INTO "sample" VALUES(1,1720000000000,1.0,NULL);
INSERT INTO "sample" VALUES(1,1720000060000,1.125,NULL);
INSERT INTO "sample" VALUES(1,1720000120000,1.25,NULL);
INSERT INTO "sample" VALUES(1,1720000180000,1.375,NULL);
INSERT INTO "sample" VALUES(1,1720000240000,1.5,NULL);
INSERT INTO "sample" VALUES(2,1720000000000,2.0,NULL);
INSERT INTO "sample" VALUES(2,1720000060000,2.125,NULL);
INSERT INTO "sample" VALUES(2,1720000120000,2.25,NULL);
INSERT INTO "sample" VALUES(2,1720000180000,2.375,NULL);
INSERT INTO "sample" VALUES(2,1720000240000,2.5,NULL);
INSERT INTO "sample" VALUES(3,1720000000000,3.0,NULL);
INSERT INTO "sample" VALUES(3,1720000060000,3.125,NULL);
INSERT INTO "sample" VALUES(3,1720000120000,3.25,NULL);
INSERT INTO "sample" VALUES(3,1720000180000,3.375,NULL);
INSERT INTO "sample" VALUES(3,1720000240000,3.5,NULL);
INSERT INTO "sample" VALUES(3,1730000000000,NULL,2);
CREATE TABLE sample_conflict (
	id INTEGER NOT NULL, 
	series_id INTEGER NOT NULL, 
	time_ms BIGINT NOT NULL, 
	value DOUBLE NOT NULL, 
	unit TEXT NOT NULL, 
	download_id INTEGER NOT NULL, 
	source_row BIGINT, 
	CONSTRAINT pk_sample_conflict PRIMARY KEY (id), 
	CONSTRAINT fk_sample_conflict_download_id_download FOREIGN KEY(download_id) REFERENCES download (id), 
	CONSTRAINT fk_sample_conflict_series_id_logger_series FOREIGN KEY(series_id) REFERENCES logger_series (id)
);
INSERT INTO "sample_conflict" VALUES(1,1,1720000000000,9.0,'kPa',2,4);
CREATE TABLE sample_pack (
	series_id INTEGER NOT NULL, 
	first_ms BIGINT NOT NULL, 
	last_ms BIGINT NOT NULL, 
	step_ms BIGINT, 
	sample_count INTEGER NOT NULL, 
	download_id INTEGER NOT NULL, 
	content BLOB NOT NULL, 
	CONSTRAINT pk_sample_pack PRIMARY KEY (series_id, first_ms), 
	CONSTRAINT fk_sample_pack_download_id_download FOREIGN KEY(download_id) REFERENCES download (id), 
	CONSTRAINT fk_sample_pack_series_id_logger_series FOREIGN KEY(series_id) REFERENCES logger_series (id)
);
INSERT INTO "sample_pack" VALUES(1,1720000000000,1720000240000,60000,5,1,X'000000000000F03F000000000000F23F000000000000F43F000000000000F63F000000000000F83F');
CREATE TABLE sample_run (
	series_id INTEGER NOT NULL, 
	first_ms BIGINT NOT NULL, 
	last_ms BIGINT NOT NULL, 
	download_id INTEGER NOT NULL, 
	sample_count INTEGER NOT NULL, 
	CONSTRAINT pk_sample_run PRIMARY KEY (series_id, first_ms), 
	CONSTRAINT ck_sample_run_ck_sample_run_forward CHECK (last_ms >= first_ms), 
	CONSTRAINT ck_sample_run_ck_sample_run_not_empty CHECK (sample_count >= 1), 
	CONSTRAINT fk_sample_run_download_id_download FOREIGN KEY(download_id) REFERENCES download (id), 
	CONSTRAINT fk_sample_run_series_id_logger_series FOREIGN KEY(series_id) REFERENCES logger_series (id)
)
 WITHOUT ROWID

;
INSERT INTO "sample_run" VALUES(1,1720000000000,1720000240000,1,5);
INSERT INTO "sample_run" VALUES(2,1720000000000,1720000240000,2,5);
INSERT INTO "sample_run" VALUES(3,1720000000000,1720000240000,3,5);
INSERT INTO "sample_run" VALUES(3,1730000000000,1730000000000,3,1);
CREATE TABLE site (
	id INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	CONSTRAINT pk_site PRIMARY KEY (id)
);
INSERT INTO "site" VALUES(1,'S');
CREATE TABLE site_record (
	site_id INTEGER NOT NULL, 
	name TEXT, 
	crs TEXT NOT NULL, 
	vertical_datum TEXT NOT NULL, 
	length_unit TEXT NOT NULL, 
	time_zone TEXT NOT NULL, 
	repeat_tolerance_m DOUBLE, 
	same_day_window_days DOUBLE, 
	gauging_interval_days DOUBLE, 
	resurvey_interval_days DOUBLE, 
	tape_check_interval_days DOUBLE, 
	sounding_interval_days DOUBLE, 
	logger_visit_interval_days DOUBLE, 
	self_review BOOLEAN, 
	check_limits TEXT, 
	operator TEXT, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_site_record PRIMARY KEY (id), 
	CONSTRAINT ck_site_record_ck_site_record_tolerance_not_negative CHECK (repeat_tolerance_m IS NULL OR repeat_tolerance_m >= 0), 
	CONSTRAINT ck_site_record_ck_site_record_window_not_negative CHECK (same_day_window_days IS NULL OR same_day_window_days >= 0), 
	CONSTRAINT fk_site_record_site_id_site FOREIGN KEY(site_id) REFERENCES site (id), 
	CONSTRAINT ck_site_record_ck_site_record_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_site_record_ck_site_record_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_site_record_ck_site_record_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_site_record_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "site_record" VALUES(1,'Meadow','EPSG:25832','local','ft','Europe/Vienna',0.01,NULL,90.0,NULL,NULL,NULL,NULL,1,'{"spike": 0.1}',NULL,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE source_file (
	id INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	size_bytes INTEGER NOT NULL, 
	content BLOB NOT NULL, 
	layout TEXT NOT NULL, 
	row_count INTEGER NOT NULL, 
	loaded_at_utc DATETIME NOT NULL, 
	loaded_by TEXT NOT NULL, 
	CONSTRAINT pk_source_file PRIMARY KEY (id)
);
INSERT INTO "source_file" VALUES(1,'wells.csv','0000000000000000000000000000000000000000000000000000000000000000',17,X'789C2BCE2C49D5294FCDC9E10AD6F10DD735E40200362E052B','wells',2,'2024-03-02 09:00:00.000000','Ana');
CREATE TABLE source_piece (
	source_file_id INTEGER NOT NULL, 
	ordinal INTEGER NOT NULL, 
	content BLOB NOT NULL, 
	CONSTRAINT pk_source_piece PRIMARY KEY (source_file_id, ordinal), 
	CONSTRAINT fk_source_piece_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "source_piece" VALUES(1,1,X'');
CREATE TABLE stage_reading (
	gauge_id INTEGER NOT NULL, 
	measured_at_utc DATETIME NOT NULL, 
	time_known BOOLEAN NOT NULL, 
	water_elevation_m DOUBLE NOT NULL, 
	easting DOUBLE, 
	northing DOUBLE, 
	aquifer_id INTEGER, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_stage_reading PRIMARY KEY (id), 
	CONSTRAINT fk_stage_reading_aquifer_id_aquifer FOREIGN KEY(aquifer_id) REFERENCES aquifer (id), 
	CONSTRAINT fk_stage_reading_gauge_id_gauge FOREIGN KEY(gauge_id) REFERENCES gauge (id), 
	CONSTRAINT ck_stage_reading_ck_stage_reading_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_stage_reading_ck_stage_reading_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_stage_reading_ck_stage_reading_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_stage_reading_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "stage_reading" VALUES(1,'2024-03-01 08:00:00.000000',1,99.125,NULL,NULL,1,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE tape_check (
	instrument_id INTEGER NOT NULL, 
	checked_on DATE NOT NULL, 
	tape_reading_m DOUBLE NOT NULL, 
	reference_reading_m DOUBLE NOT NULL, 
	checked_by TEXT, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_tape_check PRIMARY KEY (id), 
	CONSTRAINT fk_tape_check_instrument_id_instrument FOREIGN KEY(instrument_id) REFERENCES instrument (id), 
	CONSTRAINT ck_tape_check_ck_tape_check_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_tape_check_ck_tape_check_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_tape_check_ck_tape_check_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_tape_check_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "tape_check" VALUES(3,'2024-01-09',30.0,29.99,NULL,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE threshold (
	well_id INTEGER NOT NULL, 
	threshold TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	quantity TEXT NOT NULL, 
	value_m DOUBLE NOT NULL, 
	consecutive INTEGER NOT NULL, 
	basis TEXT, 
	action TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_threshold PRIMARY KEY (id), 
	CONSTRAINT ck_threshold_ck_threshold_kind_known CHECK (kind IN ('lower', 'upper')), 
	CONSTRAINT ck_threshold_ck_threshold_consecutive_positive CHECK (consecutive >= 1), 
	CONSTRAINT fk_threshold_well_id_well FOREIGN KEY(well_id) REFERENCES well (id), 
	CONSTRAINT ck_threshold_ck_threshold_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_threshold_ck_threshold_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_threshold_ck_threshold_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_threshold_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "threshold" VALUES(1,'low','lower','depth_to_water',9.5,2,NULL,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE verdict (
	gauging_round_id INTEGER, 
	well_id INTEGER, 
	level_event_id INTEGER, 
	rule TEXT NOT NULL, 
	severity TEXT NOT NULL, 
	limits TEXT NOT NULL, 
	message TEXT NOT NULL, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_verdict PRIMARY KEY (id), 
	CONSTRAINT fk_verdict_gauging_round_id_gauging_round FOREIGN KEY(gauging_round_id) REFERENCES gauging_round (id), 
	CONSTRAINT fk_verdict_level_event_id_level_event FOREIGN KEY(level_event_id) REFERENCES level_event (id), 
	CONSTRAINT fk_verdict_well_id_well FOREIGN KEY(well_id) REFERENCES well (id), 
	CONSTRAINT ck_verdict_ck_verdict_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_verdict_ck_verdict_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_verdict_ck_verdict_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_verdict_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "verdict" VALUES(NULL,NULL,1,'repeats disagree','serious','{}','They differ.',1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE TABLE well (
	id INTEGER NOT NULL, 
	site_id INTEGER NOT NULL, 
	code TEXT NOT NULL, 
	CONSTRAINT pk_well PRIMARY KEY (id), 
	CONSTRAINT fk_well_site_id_site FOREIGN KEY(site_id) REFERENCES site (id)
);
INSERT INTO "well" VALUES(1,1,'MW-1');
INSERT INTO "well" VALUES(2,1,'MW-2');
CREATE TABLE well_record (
	well_id INTEGER NOT NULL, 
	easting DOUBLE, 
	northing DOUBLE, 
	longitude DOUBLE, 
	latitude DOUBLE, 
	coordinate_accuracy_m DOUBLE, 
	aquifer_id INTEGER, 
	cluster TEXT, 
	purpose TEXT, 
	role TEXT, 
	ground_elevation_m DOUBLE, 
	ground_accuracy_m DOUBLE, 
	total_depth_m DOUBLE, 
	drilled_on DATE, 
	decommissioned_on DATE, 
	replaced_by TEXT, 
	access_notes TEXT, 
	hazards TEXT, 
	notes TEXT, 
	id INTEGER NOT NULL, 
	valid_from_utc DATETIME, 
	valid_until_utc DATETIME, 
	recorded_at_utc DATETIME NOT NULL, 
	recorded_by TEXT NOT NULL, 
	reason TEXT, 
	retired_at_utc DATETIME, 
	retired_by TEXT, 
	retired_reason TEXT, 
	source_row INTEGER, 
	as_written TEXT, 
	source_file_id INTEGER, 
	CONSTRAINT pk_well_record PRIMARY KEY (id), 
	CONSTRAINT ck_well_record_ck_well_record_total_depth_positive CHECK (total_depth_m IS NULL OR total_depth_m > 0), 
	CONSTRAINT fk_well_record_aquifer_id_aquifer FOREIGN KEY(aquifer_id) REFERENCES aquifer (id), 
	CONSTRAINT fk_well_record_well_id_well FOREIGN KEY(well_id) REFERENCES well (id), 
	CONSTRAINT ck_well_record_ck_well_record_interval_forward CHECK (valid_from_utc IS NULL OR valid_until_utc IS NULL OR valid_until_utc > valid_from_utc), 
	CONSTRAINT ck_well_record_ck_well_record_retired_after_recorded CHECK (retired_at_utc IS NULL OR retired_at_utc >= recorded_at_utc), 
	CONSTRAINT ck_well_record_ck_well_record_retired_by_somebody CHECK ((retired_at_utc IS NULL) = (retired_by IS NULL)), 
	CONSTRAINT fk_well_record_source_file_id_source_file FOREIGN KEY(source_file_id) REFERENCES source_file (id)
);
INSERT INTO "well_record" VALUES(1,500000.0,NULL,NULL,NULL,NULL,1,NULL,NULL,NULL,NULL,NULL,20.0,NULL,NULL,NULL,NULL,NULL,NULL,1,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,'2024-04-02 09:00:00.000000','Ben','misread',2,'{"well": "MW-1"}',1);
INSERT INTO "well_record" VALUES(1,500000.5,5300000.25,NULL,NULL,NULL,1,NULL,NULL,NULL,NULL,NULL,20.0,NULL,NULL,NULL,NULL,NULL,NULL,2,NULL,NULL,'2024-04-02 09:00:00.000000','Ben','misread',NULL,NULL,NULL,2,NULL,1);
INSERT INTO "well_record" VALUES(2,NULL,NULL,9.0,47.85,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'2010-05-01',NULL,NULL,NULL,'ditch','ü',3,NULL,NULL,'2024-03-02 09:00:00.000000','Ana',NULL,NULL,NULL,NULL,2,NULL,1);
CREATE UNIQUE INDEX uq_aquifer_code ON aquifer (code);
CREATE UNIQUE INDEX uq_instrument_code ON instrument (code);
CREATE UNIQUE INDEX uq_site_code ON site (code);
CREATE UNIQUE INDEX uq_source_file_sha256 ON source_file (sha256);
CREATE UNIQUE INDEX uq_aquifer_record_live ON aquifer_record (aquifer_id) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_context_series_site_code ON context_series (site_id, code);
CREATE UNIQUE INDEX uq_gauge_site_code ON gauge (site_id, code);
CREATE UNIQUE INDEX uq_gauging_round_site_code ON gauging_round (site_id, code);
CREATE UNIQUE INDEX uq_instrument_record_live ON instrument_record (instrument_id) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_site_record_live ON site_record (site_id) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_tape_check_live ON tape_check (instrument_id, checked_on, tape_reading_m) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_well_site_code ON well (site_id, code);
CREATE UNIQUE INDEX uq_construction_part_live ON construction_part (well_id, part, top_depth_m) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_context_value_live ON context_value (context_series_id, on_date) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_deployment_live ON deployment (instrument_id, valid_from_utc) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_level_event_key ON level_event (well_id, measured_at_utc, access, time_known, event);
CREATE UNIQUE INDEX uq_measuring_point_live ON measuring_point (well_id, access, valid_from_utc) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_round_record_live ON round_record (gauging_round_id) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_stage_reading_live ON stage_reading (gauge_id, measured_at_utc) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_threshold_live ON threshold (well_id, threshold, valid_from_utc) WHERE retired_at_utc IS NULL AND valid_from_utc IS NOT NULL;
CREATE UNIQUE INDEX uq_threshold_live_open ON threshold (well_id, threshold) WHERE retired_at_utc IS NULL AND valid_from_utc IS NULL;
CREATE UNIQUE INDEX uq_well_record_live ON well_record (well_id) WHERE retired_at_utc IS NULL;
CREATE INDEX ix_level_record_gauging_round_id ON level_record (gauging_round_id);
CREATE UNIQUE INDEX uq_level_record_live ON level_record (level_event_id) WHERE retired_at_utc IS NULL;
CREATE INDEX ix_verdict_gauging_round_id ON verdict (gauging_round_id);
CREATE INDEX ix_verdict_level_event_id ON verdict (level_event_id);
CREATE UNIQUE INDEX uq_verdict_live ON verdict (level_event_id, rule) WHERE retired_at_utc IS NULL AND level_event_id IS NOT NULL;
CREATE UNIQUE INDEX uq_review_live ON review (level_event_id) WHERE retired_at_utc IS NULL AND level_event_id IS NOT NULL;
CREATE UNIQUE INDEX uq_review_live_verdict ON review (verdict_id) WHERE retired_at_utc IS NULL AND verdict_id IS NOT NULL;
CREATE TRIGGER tr_measuring_point_no_overlap_insert BEFORE INSERT ON measuring_point
            WHEN NEW.retired_at_utc IS NULL
            BEGIN
                SELECT RAISE(ABORT, 'measuring points overlap')
                WHERE EXISTS (
                    SELECT 1 FROM measuring_point AS other
                    WHERE other.well_id = NEW.well_id AND other.access = NEW.access
                      AND other.retired_at_utc IS NULL AND other.id IS NOT NEW.id
                      AND (other.valid_until_utc IS NULL OR other.valid_until_utc > NEW.valid_from_utc)
                      AND (NEW.valid_until_utc IS NULL OR NEW.valid_until_utc > other.valid_from_utc)
                );
            END;
CREATE TRIGGER tr_measuring_point_no_overlap_update BEFORE UPDATE OF well_id, access, valid_from_utc, valid_until_utc, retired_at_utc ON measuring_point
            WHEN NEW.retired_at_utc IS NULL
            BEGIN
                SELECT RAISE(ABORT, 'measuring points overlap')
                WHERE EXISTS (
                    SELECT 1 FROM measuring_point AS other
                    WHERE other.well_id = NEW.well_id AND other.access = NEW.access
                      AND other.retired_at_utc IS NULL AND other.id IS NOT NEW.id
                      AND (other.valid_until_utc IS NULL OR other.valid_until_utc > NEW.valid_from_utc)
                      AND (NEW.valid_until_utc IS NULL OR NEW.valid_until_utc > other.valid_from_utc)
                );
            END;
CREATE TRIGGER tr_aquifer_record_kept BEFORE DELETE ON aquifer_record
            BEGIN SELECT RAISE(ABORT, 'rows of aquifer_record are never deleted'); END;
CREATE TRIGGER tr_construction_part_kept BEFORE DELETE ON construction_part
            BEGIN SELECT RAISE(ABORT, 'rows of construction_part are never deleted'); END;
CREATE TRIGGER tr_context_value_kept BEFORE DELETE ON context_value
            BEGIN SELECT RAISE(ABORT, 'rows of context_value are never deleted'); END;
CREATE TRIGGER tr_deployment_kept BEFORE DELETE ON deployment
            BEGIN SELECT RAISE(ABORT, 'rows of deployment are never deleted'); END;
CREATE TRIGGER tr_instrument_record_kept BEFORE DELETE ON instrument_record
            BEGIN SELECT RAISE(ABORT, 'rows of instrument_record are never deleted'); END;
CREATE TRIGGER tr_level_event_kept BEFORE DELETE ON level_event
            BEGIN SELECT RAISE(ABORT, 'rows of level_event are never deleted'); END;
CREATE TRIGGER tr_level_reading_kept BEFORE DELETE ON level_reading
            BEGIN SELECT RAISE(ABORT, 'rows of level_reading are never deleted'); END;
CREATE TRIGGER tr_level_record_kept BEFORE DELETE ON level_record
            BEGIN SELECT RAISE(ABORT, 'rows of level_record are never deleted'); END;
CREATE TRIGGER tr_measuring_point_kept BEFORE DELETE ON measuring_point
            BEGIN SELECT RAISE(ABORT, 'rows of measuring_point are never deleted'); END;
CREATE TRIGGER tr_report_issue_kept BEFORE DELETE ON report_issue
            BEGIN SELECT RAISE(ABORT, 'rows of report_issue are never deleted'); END;
CREATE TRIGGER tr_review_kept BEFORE DELETE ON review
            BEGIN SELECT RAISE(ABORT, 'rows of review are never deleted'); END;
CREATE TRIGGER tr_round_record_kept BEFORE DELETE ON round_record
            BEGIN SELECT RAISE(ABORT, 'rows of round_record are never deleted'); END;
CREATE TRIGGER tr_site_record_kept BEFORE DELETE ON site_record
            BEGIN SELECT RAISE(ABORT, 'rows of site_record are never deleted'); END;
CREATE TRIGGER tr_source_file_kept BEFORE DELETE ON source_file
            BEGIN SELECT RAISE(ABORT, 'rows of source_file are never deleted'); END;
CREATE TRIGGER tr_stage_reading_kept BEFORE DELETE ON stage_reading
            BEGIN SELECT RAISE(ABORT, 'rows of stage_reading are never deleted'); END;
CREATE TRIGGER tr_tape_check_kept BEFORE DELETE ON tape_check
            BEGIN SELECT RAISE(ABORT, 'rows of tape_check are never deleted'); END;
CREATE TRIGGER tr_threshold_kept BEFORE DELETE ON threshold
            BEGIN SELECT RAISE(ABORT, 'rows of threshold are never deleted'); END;
CREATE TRIGGER tr_verdict_kept BEFORE DELETE ON verdict
            BEGIN SELECT RAISE(ABORT, 'rows of verdict are never deleted'); END;
CREATE TRIGGER tr_well_record_kept BEFORE DELETE ON well_record
            BEGIN SELECT RAISE(ABORT, 'rows of well_record are never deleted'); END;
CREATE TRIGGER tr_level_event_fixed BEFORE UPDATE ON level_event
            BEGIN SELECT RAISE(ABORT, 'rows of level_event are never altered'); END;
CREATE TRIGGER tr_level_reading_fixed BEFORE UPDATE ON level_reading
            BEGIN SELECT RAISE(ABORT, 'rows of level_reading are never altered'); END;
CREATE TRIGGER tr_source_file_fixed BEFORE UPDATE ON source_file
            BEGIN SELECT RAISE(ABORT, 'rows of source_file are never altered'); END;
CREATE UNIQUE INDEX uq_logger_series_key ON logger_series (instrument_id, quantity, take);
CREATE INDEX ix_adjustment_series_id ON adjustment (series_id);
CREATE INDEX ix_download_series_id ON download (series_id);
CREATE INDEX ix_download_source_file_id ON download (source_file_id);
CREATE INDEX ix_sample_conflict_download_id ON sample_conflict (download_id);
CREATE UNIQUE INDEX uq_register_entry_live ON register_entry (site_id, code) WHERE retired_at_utc IS NULL;
CREATE UNIQUE INDEX uq_report_issue_live ON report_issue (site_id, definition, period, sha256) WHERE retired_at_utc IS NULL;
CREATE TRIGGER tr_download_kept BEFORE DELETE ON download
            BEGIN SELECT RAISE(ABORT, 'rows of download are never deleted'); END;
CREATE TRIGGER tr_logger_series_kept BEFORE DELETE ON logger_series
            BEGIN SELECT RAISE(ABORT, 'rows of logger_series are never deleted'); END;
CREATE TRIGGER tr_register_entry_kept BEFORE DELETE ON register_entry
            BEGIN SELECT RAISE(ABORT, 'rows of register_entry are never deleted'); END;
CREATE TRIGGER tr_sample_conflict_kept BEFORE DELETE ON sample_conflict
            BEGIN SELECT RAISE(ABORT, 'rows of sample_conflict are never deleted'); END;
CREATE TRIGGER tr_sample_run_kept BEFORE DELETE ON sample_run
            BEGIN SELECT RAISE(ABORT, 'rows of sample_run are never deleted'); END;
CREATE TRIGGER tr_source_piece_kept BEFORE DELETE ON source_piece
            BEGIN SELECT RAISE(ABORT, 'rows of source_piece are never deleted'); END;
CREATE TRIGGER tr_adjustment_kept BEFORE DELETE ON adjustment
            BEGIN SELECT RAISE(ABORT, 'rows of adjustment are never deleted'); END;
CREATE TRIGGER tr_sample_kept BEFORE DELETE ON sample
            BEGIN SELECT RAISE(ABORT, 'rows of sample are never deleted'); END;
CREATE TRIGGER tr_logger_series_fixed BEFORE UPDATE ON logger_series
            BEGIN SELECT RAISE(ABORT, 'rows of logger_series are never altered'); END;
CREATE TRIGGER tr_sample_conflict_fixed BEFORE UPDATE ON sample_conflict
            BEGIN SELECT RAISE(ABORT, 'rows of sample_conflict are never altered'); END;
CREATE TRIGGER tr_sample_run_fixed BEFORE UPDATE ON sample_run
            BEGIN SELECT RAISE(ABORT, 'rows of sample_run are never altered'); END;
CREATE TRIGGER tr_source_piece_fixed BEFORE UPDATE ON source_piece
            BEGIN SELECT RAISE(ABORT, 'rows of source_piece are never altered'); END;
CREATE TRIGGER tr_sample_fixed BEFORE UPDATE ON sample
            BEGIN SELECT RAISE(ABORT, 'rows of sample are never altered'); END;
COMMIT;
