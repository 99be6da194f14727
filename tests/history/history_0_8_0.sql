BEGIN TRANSACTION;
CREATE TABLE bounds (
	bound INTEGER NOT NULL, 
	"key" TEXT NOT NULL, 
	words TEXT DEFAULT '' NOT NULL, 
	low DOUBLE, 
	high DOUBLE, 
	stated_low DOUBLE, 
	stated_high DOUBLE, 
	guard TEXT DEFAULT '' NOT NULL, 
	PRIMARY KEY (bound), 
	UNIQUE ("key")
);
INSERT INTO "bounds" VALUES(1,'["matches ''VFL3-\\d{6}''", null, null, null, null, ""]','matches ''VFL3-\d{6}''',NULL,NULL,NULL,NULL,'');
INSERT INTO "bounds" VALUES(2,'["max 3 s", null, 3.0, null, 3.0, ""]','max 3 s',NULL,3.0,NULL,3.0,'');
INSERT INTO "bounds" VALUES(3,'["min -40 \u00b0C and max 60 \u00b0C", -40.0, 60.0, -40.0, 60.0, ""]','min -40 °C and max 60 °C',-40.0,60.0,-40.0,60.0,'');
INSERT INTO "bounds" VALUES(4,'["min -80 dBm", -80.0, null, -80.0, null, ""]','min -80 dBm',-80.0,NULL,-80.0,NULL,'');
INSERT INTO "bounds" VALUES(5,'["min 20 %", 20.0, null, 20.0, null, ""]','min 20 %',20.0,NULL,20.0,NULL,'');
CREATE TABLE channels (
	channel INTEGER NOT NULL, 
	"key" TEXT NOT NULL, 
	"plan" TEXT DEFAULT '' NOT NULL, 
	step TEXT DEFAULT '' NOT NULL, 
	occurrence INTEGER NOT NULL, 
	reading TEXT DEFAULT '' NOT NULL, 
	measure TEXT DEFAULT '' NOT NULL, 
	PRIMARY KEY (channel), 
	UNIQUE ("key")
);
INSERT INTO "channels" VALUES(1,'["Vaccine fridge logger, quick look", "connect", 1, "elapsed", "s"]','Vaccine fridge logger, quick look','connect',1,'elapsed','s');
INSERT INTO "channels" VALUES(2,'["Vaccine fridge logger, quick look", "read battery level", 1, "value", "%"]','Vaccine fridge logger, quick look','read battery level',1,'value','%');
INSERT INTO "channels" VALUES(3,'["Vaccine fridge logger, quick look", "read serial number", 1, "value", ""]','Vaccine fridge logger, quick look','read serial number',1,'value','');
INSERT INTO "channels" VALUES(4,'["Vaccine fridge logger, quick look", "read temperature", 1, "value", "\u00b0C"]','Vaccine fridge logger, quick look','read temperature',1,'value','°C');
INSERT INTO "channels" VALUES(5,'["Vaccine fridge logger, quick look", "scan", 1, "rssi", "dBm"]','Vaccine fridge logger, quick look','scan',1,'rssi','dBm');
CREATE TABLE devices (
	run INTEGER NOT NULL, 
	n INTEGER NOT NULL, 
	device TEXT DEFAULT '' NOT NULL, 
	serial TEXT DEFAULT '' NOT NULL, 
	given_serial TEXT DEFAULT '' NOT NULL, 
	address TEXT DEFAULT '' NOT NULL, 
	address_type TEXT DEFAULT '' NOT NULL, 
	name TEXT DEFAULT '' NOT NULL, 
	firmware TEXT DEFAULT '' NOT NULL, 
	hardware TEXT DEFAULT '' NOT NULL, 
	PRIMARY KEY (run, n)
)
 WITHOUT ROWID

;
INSERT INTO "devices" VALUES(1,0,'','VFL3-000042','','C4:1F:5A:20:00:42','random','VFL-0042','','');
CREATE TABLE history_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT history_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "history_version" VALUES('0001');
CREATE TABLE readings (
	channel INTEGER NOT NULL, 
	run INTEGER NOT NULL, 
	n INTEGER NOT NULL, 
	value DOUBLE, 
	text TEXT, 
	bound INTEGER NOT NULL, 
	passed BOOLEAN NOT NULL, 
	margin DOUBLE, 
	samples INTEGER, 
	minimum DOUBLE, 
	maximum DOUBLE, 
	mean DOUBLE, 
	PRIMARY KEY (channel, run, n)
)
 WITHOUT ROWID

;
INSERT INTO "readings" VALUES(1,1,1,0.360626,NULL,2,1,2.639374,NULL,NULL,NULL,NULL);
INSERT INTO "readings" VALUES(2,1,3,97.0,NULL,5,1,77.0,NULL,NULL,NULL,NULL);
INSERT INTO "readings" VALUES(3,1,2,NULL,'VFL3-000042',1,1,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "readings" VALUES(4,1,4,21.43,NULL,3,1,38.57,NULL,NULL,NULL,NULL);
INSERT INTO "readings" VALUES(5,1,0,-52.5,NULL,4,1,27.5,NULL,NULL,NULL,NULL);
CREATE TABLE runs (
	run INTEGER NOT NULL, 
	run_id TEXT NOT NULL, 
	digest TEXT NOT NULL, 
	size BIGINT NOT NULL, 
	folder TEXT DEFAULT '' NOT NULL, 
	host TEXT DEFAULT '' NOT NULL, 
	kept_on TEXT DEFAULT '' NOT NULL, 
	started BIGINT NOT NULL, 
	duration DOUBLE NOT NULL, 
	"plan" TEXT DEFAULT '' NOT NULL, 
	revision TEXT DEFAULT '' NOT NULL, 
	plan_hash TEXT DEFAULT '' NOT NULL, 
	limit_set TEXT DEFAULT '' NOT NULL, 
	limit_set_version TEXT DEFAULT '' NOT NULL, 
	limit_set_hash TEXT DEFAULT '' NOT NULL, 
	benchrig TEXT DEFAULT '' NOT NULL, 
	station TEXT DEFAULT '' NOT NULL, 
	fixture TEXT DEFAULT '' NOT NULL, 
	fixture_version TEXT DEFAULT '' NOT NULL, 
	radio TEXT DEFAULT '' NOT NULL, 
	simulated BOOLEAN NOT NULL, 
	left_out INTEGER NOT NULL, 
	study TEXT DEFAULT '' NOT NULL, 
	study_unit TEXT DEFAULT '' NOT NULL, 
	study_appraiser TEXT DEFAULT '' NOT NULL, 
	study_repeat INTEGER, 
	unit TEXT DEFAULT '' NOT NULL, 
	serial TEXT DEFAULT '' NOT NULL, 
	given_serial TEXT DEFAULT '' NOT NULL, 
	address TEXT DEFAULT '' NOT NULL, 
	name TEXT DEFAULT '' NOT NULL, 
	firmware TEXT DEFAULT '' NOT NULL, 
	hardware TEXT DEFAULT '' NOT NULL, 
	verdict TEXT DEFAULT '' NOT NULL, 
	cause TEXT DEFAULT '' NOT NULL, 
	exit_code INTEGER, 
	root_step TEXT DEFAULT '' NOT NULL, 
	root_reading TEXT DEFAULT '' NOT NULL, 
	message TEXT DEFAULT '' NOT NULL, 
	planned INTEGER NOT NULL, 
	judged INTEGER NOT NULL, 
	retries INTEGER NOT NULL, 
	rounds_left INTEGER NOT NULL, 
	PRIMARY KEY (run), 
	UNIQUE (run_id)
);
INSERT INTO "runs" VALUES(1,'5cf90360b095410c9527013a2568898a','b61d4e940e48eed3fdccffa0b813048ef343216dc0927212669ab54431ceecab',3920,'20261127T235640-vaccine-fridge-logger-quick-look','vm','vm',1795823800339000,1.515562,'Vaccine fridge logger, quick look','','44ddb47821aebb91cd9d0994ca9789931629b4562ebcb1f27d544e4badce704f','','','','0.8.0','vm','','','virtual:logger.yaml',1,0,'','','',NULL,'VFL3-000042','VFL3-000042','','C4:1F:5A:20:00:42','VFL-0042','','','pass','',0,'','','',5,5,0,0);
CREATE TABLE steps (
	run INTEGER NOT NULL, 
	n INTEGER NOT NULL, 
	node TEXT DEFAULT '' NOT NULL, 
	rounds TEXT DEFAULT '' NOT NULL, 
	step TEXT DEFAULT '' NOT NULL, 
	kind TEXT DEFAULT '' NOT NULL, 
	device TEXT DEFAULT '' NOT NULL, 
	verdict TEXT DEFAULT '' NOT NULL, 
	cause TEXT DEFAULT '' NOT NULL, 
	message TEXT DEFAULT '' NOT NULL, 
	attempts INTEGER NOT NULL, 
	elapsed DOUBLE NOT NULL, 
	PRIMARY KEY (run, n)
)
 WITHOUT ROWID

;
INSERT INTO "steps" VALUES(1,0,'1','','scan','scan','','pass','','',1,1.05);
INSERT INTO "steps" VALUES(1,1,'2','','connect','connect','','pass','','',1,0.360626);
INSERT INTO "steps" VALUES(1,2,'3','','read serial number','read','','pass','','',1,0.030048);
INSERT INTO "steps" VALUES(1,3,'4','','read battery level','read','','pass','','',1,0.02992);
INSERT INTO "steps" VALUES(1,4,'5','','read temperature','read','','pass','','',1,0.030008);
CREATE INDEX devices_by_address ON devices (address);
CREATE INDEX devices_by_given_serial ON devices (given_serial);
CREATE INDEX devices_by_serial ON devices (serial);
CREATE INDEX readings_by_run ON readings (run);
CREATE INDEX runs_by_plan ON runs ("plan", started);
CREATE INDEX runs_by_start ON runs (started);
COMMIT;
