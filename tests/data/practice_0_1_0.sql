BEGIN TRANSACTION;
CREATE TABLE chunk (
        id INTEGER PRIMARY KEY,             -- the order in time within a series
        series INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL,
        merged INTEGER NOT NULL,            -- 0: as committed, 1: many of those made one
        data BLOB NOT NULL
    );
INSERT INTO "chunk" VALUES(6,3,0,19900,1,X'01C8000000C800000078DAEDCE310D00300800304EA4E05FC564CD030F81B40A1AEF860080869A0E00B0524E070058E903ACE69BA9');
INSERT INTO "chunk" VALUES(7,1,0,19900,1,X'01C8000000C800000078DAEDCFB10DC020000330B68EF0052FF644464EE2050415A860CF8994847286000003EA443775E6E2821FCF44377F9C03B8C1BB7B0000BFD400E3729D35');
INSERT INTO "chunk" VALUES(8,2,0,19900,1,X'01C8000000C800000078DAEDCE010D00101405C0AFB5186289A583D9DE7097E06ABEA10060C348070E69E900C0677A3A00C0951689169C82');
INSERT INTO "chunk" VALUES(9,4,0,19900,1,X'01C80000000000000078DA6338313C00C3281805A360148C02BA02C6610200FAE49C41');
INSERT INTO "chunk" VALUES(10,5,0,19900,1,X'01C80000000000000078DA6338313C00C3281805A360148C02BA02C6610200FAE49C41');
CREATE TABLE clip (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        name TEXT NOT NULL,
        file TEXT NOT NULL,                 -- below the data folder, with /
        start_s REAL NOT NULL,              -- of the session; second 0 of the film
        end_s REAL NOT NULL,
        bytes INTEGER NOT NULL,
        reason TEXT NOT NULL,
        has_sound INTEGER NOT NULL,
        kept INTEGER NOT NULL DEFAULT 0,
        note TEXT NOT NULL DEFAULT '',
        moments_json TEXT NOT NULL,
        written_at TEXT NOT NULL,
        removed_at TEXT,                    -- when it made room for newer ones
        UNIQUE (session, name)
    );
CREATE TABLE discomfort (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        session INTEGER REFERENCES session (number) ON DELETE CASCADE,
        moment TEXT NOT NULL,               -- before or after
        checked_at TEXT NOT NULL,
        rating INTEGER NOT NULL,            -- 0 to 10
        places_json TEXT NOT NULL,
        signs_json TEXT NOT NULL,
        note TEXT NOT NULL
    );
INSERT INTO "discomfort" VALUES(1,NULL,'before','2026-11-30T08:33:38.674+00:00',1,'["left thumb"]','[]','');
INSERT INTO "discomfort" VALUES(2,1,'after','2026-11-30T08:33:38.903+00:00',2,'[]','[]','warm');
CREATE TABLE excursion (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        direction TEXT NOT NULL,
        level TEXT NOT NULL,
        limit_value REAL NOT NULL,
        start_s REAL NOT NULL,
        peak REAL NOT NULL,
        peak_s REAL NOT NULL,
        end_s REAL,                         -- NULL while it lasts
        end_word TEXT,
        warned_s REAL
    );
INSERT INTO "excursion" VALUES(1,1,'left','wrist_flexion','flexion','extreme',48.6,6.0,60.0,7.0,10.0,'returned',NULL);
CREATE TABLE exposure (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        passage INTEGER REFERENCES passage (id) ON DELETE CASCADE,      -- NULL: the whole session
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        total_s REAL NOT NULL,
        measured_s REAL NOT NULL,
        p10 REAL,
        p50 REAL,
        p90 REAL,
        rests INTEGER
    );
INSERT INTO "exposure" VALUES(1,1,NULL,'left','wrist_flexion',20.0,20.0,10.0,10.0,60.0,2);
INSERT INTO "exposure" VALUES(2,1,NULL,'left','wrist_ulnar_deviation',20.0,20.0,2.0,2.0,2.0,1);
INSERT INTO "exposure" VALUES(3,1,NULL,'left','index_lift',20.0,20.0,5.0,5.0,5.0,NULL);
INSERT INTO "exposure" VALUES(4,1,NULL,'right','wrist_flexion',20.0,0.0,NULL,NULL,NULL,NULL);
INSERT INTO "exposure" VALUES(5,1,NULL,'right','wrist_ulnar_deviation',20.0,0.0,NULL,NULL,NULL,NULL);
INSERT INTO "exposure" VALUES(6,1,1,'left','wrist_flexion',12.0,12.0,10.0,10.0,60.0,2);
INSERT INTO "exposure" VALUES(7,1,1,'left','wrist_ulnar_deviation',12.0,12.0,2.0,2.0,2.0,1);
INSERT INTO "exposure" VALUES(8,1,1,'left','index_lift',12.0,12.0,5.0,5.0,5.0,NULL);
INSERT INTO "exposure" VALUES(9,1,1,'right','wrist_flexion',12.0,0.0,NULL,NULL,NULL,NULL);
INSERT INTO "exposure" VALUES(10,1,1,'right','wrist_ulnar_deviation',12.0,0.0,NULL,NULL,NULL,NULL);
INSERT INTO "exposure" VALUES(11,1,2,'left','wrist_flexion',8.0,8.0,10.0,10.0,10.0,0);
INSERT INTO "exposure" VALUES(12,1,2,'left','wrist_ulnar_deviation',8.0,8.0,2.0,2.0,2.0,0);
INSERT INTO "exposure" VALUES(13,1,2,'left','index_lift',8.0,8.0,5.0,5.0,5.0,NULL);
INSERT INTO "exposure" VALUES(14,1,2,'right','wrist_flexion',8.0,0.0,NULL,NULL,NULL,NULL);
INSERT INTO "exposure" VALUES(15,1,2,'right','wrist_ulnar_deviation',8.0,0.0,NULL,NULL,NULL,NULL);
CREATE TABLE exposure_level (
        exposure INTEGER NOT NULL REFERENCES exposure (id) ON DELETE CASCADE,
        direction TEXT NOT NULL,
        level TEXT NOT NULL,
        limit_value REAL NOT NULL,
        seconds REAL NOT NULL,              -- beyond the limit
        dose REAL NOT NULL,                 -- unit times seconds
        excursions INTEGER NOT NULL,
        longest_s REAL,
        PRIMARY KEY (exposure, direction, level)
    ) WITHOUT ROWID
    ;
INSERT INTO "exposure_level" VALUES(1,'extension','comfort',26.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(1,'extension','extreme',32.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(1,'flexion','comfort',37.7,4.0,89.2,0,NULL);
INSERT INTO "exposure_level" VALUES(1,'flexion','extreme',48.6,4.0,45.6,1,4.0);
INSERT INTO "exposure_level" VALUES(2,'radial','comfort',17.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(2,'radial','extreme',21.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(2,'ulnar','comfort',12.1,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(2,'ulnar','extreme',14.5,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(3,'lift','comfort',15.0,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(3,'lift','extreme',25.0,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(4,'extension','comfort',26.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(4,'extension','extreme',32.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(4,'flexion','comfort',37.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(4,'flexion','extreme',48.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(5,'radial','comfort',17.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(5,'radial','extreme',21.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(5,'ulnar','comfort',12.1,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(5,'ulnar','extreme',14.5,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(6,'extension','comfort',26.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(6,'extension','extreme',32.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(6,'flexion','comfort',37.7,4.0,89.2,0,NULL);
INSERT INTO "exposure_level" VALUES(6,'flexion','extreme',48.6,4.0,45.6,1,4.0);
INSERT INTO "exposure_level" VALUES(7,'radial','comfort',17.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(7,'radial','extreme',21.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(7,'ulnar','comfort',12.1,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(7,'ulnar','extreme',14.5,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(8,'lift','comfort',15.0,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(8,'lift','extreme',25.0,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(9,'extension','comfort',26.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(9,'extension','extreme',32.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(9,'flexion','comfort',37.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(9,'flexion','extreme',48.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(10,'radial','comfort',17.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(10,'radial','extreme',21.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(10,'ulnar','comfort',12.1,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(10,'ulnar','extreme',14.5,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(11,'extension','comfort',26.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(11,'extension','extreme',32.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(11,'flexion','comfort',37.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(11,'flexion','extreme',48.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(12,'radial','comfort',17.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(12,'radial','extreme',21.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(12,'ulnar','comfort',12.1,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(12,'ulnar','extreme',14.5,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(13,'lift','comfort',15.0,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(13,'lift','extreme',25.0,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(14,'extension','comfort',26.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(14,'extension','extreme',32.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(14,'flexion','comfort',37.7,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(14,'flexion','extreme',48.6,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(15,'radial','comfort',17.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(15,'radial','extreme',21.8,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(15,'ulnar','comfort',12.1,0.0,0.0,0,NULL);
INSERT INTO "exposure_level" VALUES(15,'ulnar','extreme',14.5,0.0,0.0,0,NULL);
CREATE TABLE lift_plane (
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        start_s REAL NOT NULL,              -- until the next of the same side
        plane TEXT NOT NULL,                -- what finger lifts were measured from
        PRIMARY KEY (session, side, start_s)
    ) WITHOUT ROWID
    ;
INSERT INTO "lift_plane" VALUES(1,'left',0.0,'resting fingertips');
CREATE TABLE mark (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        time_s REAL NOT NULL,
        note TEXT NOT NULL
    );
INSERT INTO "mark" VALUES(1,1,3.0,'here');
CREATE TABLE migration (number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, applied_at TEXT NOT NULL);
INSERT INTO "migration" VALUES(1,'sessions with samples, excursions, marks','2026-11-30T08:33:38+00:00');
INSERT INTO "migration" VALUES(2,'pieces, passages and the practice list','2026-11-30T08:33:38+00:00');
INSERT INTO "migration" VALUES(3,'clips','2026-11-30T08:33:38+00:00');
INSERT INTO "migration" VALUES(4,'discomfort checks','2026-11-30T08:33:38+00:00');
INSERT INTO "migration" VALUES(5,'exposure','2026-11-30T08:33:38+00:00');
INSERT INTO "migration" VALUES(6,'planes of the finger lift','2026-11-30T08:33:38+00:00');
CREATE TABLE passage (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        piece INTEGER NOT NULL REFERENCES piece (id),
        bars TEXT NOT NULL,                 -- free text, '' without
        tempo_bpm REAL,
        start_s REAL NOT NULL,
        end_s REAL                          -- NULL while it is played
    );
INSERT INTO "passage" VALUES(1,1,1,'thirds',80.0,0.0,12.0);
INSERT INTO "passage" VALUES(2,1,2,'bars 1-8',NULL,12.0,20.0);
CREATE TABLE piece (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        key TEXT NOT NULL UNIQUE,           -- the name without regard to case and spaces
        created_at TEXT NOT NULL            -- UTC, ISO 8601
    );
INSERT INTO "piece" VALUES(1,'Scales','scales','2026-11-30T08:33:38.711+00:00');
INSERT INTO "piece" VALUES(2,'Étude','étude','2026-11-30T08:33:38.801+00:00');
CREATE TABLE practice_item (
        position INTEGER PRIMARY KEY,       -- 0, 1, 2 and so on
        piece INTEGER NOT NULL REFERENCES piece (id),
        bars TEXT NOT NULL,
        tempo_bpm REAL
    );
INSERT INTO "practice_item" VALUES(0,1,'thirds',80.0);
CREATE TABLE practice_place (
        one INTEGER PRIMARY KEY CHECK (one = 1),
        position INTEGER                    -- NULL before the first step
    );
INSERT INTO "practice_place" VALUES(1,NULL);
CREATE TABLE refusal (code INTEGER PRIMARY KEY, word TEXT NOT NULL UNIQUE);
INSERT INTO "refusal" VALUES(1,'hand not seen');
INSERT INTO "refusal" VALUES(2,'hand too small in the picture');
INSERT INTO "refusal" VALUES(3,'hand cut off by the edge of the picture');
INSERT INTO "refusal" VALUES(4,'forearm not seen');
INSERT INTO "refusal" VALUES(5,'view unlike any it was calibrated for');
INSERT INTO "refusal" VALUES(6,'too uncertain from this view');
INSERT INTO "refusal" VALUES(7,'left or right hand not clear');
INSERT INTO "refusal" VALUES(8,'no resting plane of the fingers known yet');
INSERT INTO "refusal" VALUES(9,'not seen well enough from any view to be given');
CREATE TABLE review (
        session INTEGER PRIMARY KEY REFERENCES session (number) ON DELETE CASCADE,
        version INTEGER NOT NULL,           -- of the computation
        data BLOB NOT NULL                  -- all exposures and the finding, JSON, compressed
    );
INSERT INTO "review" VALUES(1,2,X'789CED5D7D8FA23E10FE2A17FE6609D49775F7AB186338A96E135EFCF1B2EBC5F8DD6F5A100115415A84DFCD256EA060A79D3EF3B4F3DC241EB58846110B7CED7379D422E650ED5373E936D674EDBFC4F66316FF81969F9045F17AEBD2037F55D7129FC5D0ECD01DDCECC220D99F5F82FB1FE63BC14FB48EA0CFA569983A813FAB95AEC5416CBBBC9937E89A47ED2809A973ABE5CB0E6124166F4CFC88529FBF743CE9DA9E861B0AC37269B4E6E63F8FDADE32E155D1C17E76B9FC80CB395CC2971C16D24D0C438FC434F35B18F4654E3F2CFE62C28E35E71DFCA67F025F0C4EF4470F71483DCAEFA7FCDEA5DFD44DFB1397D0D726F0B641C85DE0328FC5E9F826EFC6BB0E5EDE4067E7EF66D3330D02630B22CADFE41D2F3E780B3D6C92304A47CB0D05FE8E82F7E1CE4F5CF7A45F0C66632A1B9C2E8C795383D3197FB768D02A19842F9F56DC62D1656095FA51D56966BDCFCC363E23F3D214CCD214CCF21432439D5C3621A535EA6C6F7502B487D0C241ABFDB6C125C2CEF24D6093FF81173641E243149182E5147980F1B5C7FC2406FB7301E0684FA9E863CD9F895E21566031668639E171E3307E97A2FDDB0E999DAED551B3BDBDCBE2C4A16BEAECCE31B37C13337E137EBE8C491758E5F881D13949283AC9BEC7578D87E3043EEFFCFD19BFB1C444F2E1A7E17EE3B3D23B3D999F0728A7BB69E5C9EAC411F280FC12D7B74370DF77E6DB219220C93990E414481E31A09858299489CC58B68861F519CBD6D498C98DE50AFD8536049BAB8CFBAC7763D1A7BF8825D75E2BEE2B2223455D91FB26F5DC97454B5BEA13137E136E2E509F8029C7CEC0A8EFFC2172BB6B487D4062F4B0769968CFF8CEF30A74B765B0FA619F7C07E6CF7437CBE96E96D3DDEC11DD659391CF767C60021A8F82C9F324C42EB746E45A2B462E6F38871EF4D031F2F86097C2377CC8D222AC534C94901FB2DD57DF29CF4DF09B15F06B5F40A0BFFC20FEC59BD26E6E1D00D2F56A99E7C8DCB62A694E118BD9D824EF5B9534A7BBC161E5396A9C5693E83CEBB4DB9C51D8AED3E6FF5F52A2F649337AEA2129E997A6AE931199F156938BA889B79A64441249BD2E1B51E3B19A7464000C35CEDC411943F1442EA17C0670B5B7A3C8DED11454D9CD9A3922C9A3877DC00944A5CA0CAB50E6328B54B9ACDAF2529579511FA6F244E609FCEB5B67BEB68952F3B0A46601BFA2DA6299F572CBC298FC23523391D6DB4B94E63E885092D29C8E0395E6A19DED94F86B304A738ABA22F7CD5069CE3F1691DA5D43EAEBA034ABE23BE94AB32CB643A5B96FA5B9534CA8559A1BA0DFBC057EB302FEAA846311549A516946A579403BB39A27FD28CD83A329549A47938DA0D26C8C247750C65005A5992F6C515E26EAE565C15557FF57B6A81258A54192BA9CE97272D56559272E71DDE381EB297BC33A6F2971D94B65E5626A78252B9B4AA495F11DE016FD1CE05488CA3DD19F244D5926F3A1A48C92F290686F9CA7C2C52B68EF49415921D749D79325311DCAC97DCBC95D02429D9ADC10FAE62DE89B15E857659A058AC92826A3983CA04D59CD13F562F210590AB5E4D1A421A8251B23C91A941154514B1675CB611C558A9685035658B78C75CB58B73C008119EB961F3EC1BA65AC5B46915989BFB06E7914E745AC5BC6BA65149A25C604D62DA3D48C52F3A0949C71E5246A9F60DD326ACDC3CE46506B3646923B2863A8BB75CBBC89F4A03063E932962EA3B23CA41ABEF19DE1B074B92759194B9707798E53E22F2C5D167F067E30C4D2652C5D464559524060E9B2CC0D0BF564D493514F56B42963E932CAC9434B43504E364692352823A84AE9729AB1A5A88A623B8C2F6BE4177E614581C6FCF0575D1E941DE70821A5D0B87D7EBA1330CD7E5BAF79D570BDF14AF034FB9DBD66E5C335A7A0BB536FA2D236268847D6AFE6DE44B36DC1AF7205C066D8BC23D9E5C0B4EE02F3BC65DE5D9B26D2DB536B53B57CB52E4D44B8A72CE7BBDEFD4937D0CFE498BE9A751329AD3D1ABB26A88F7E5343A030DD09050CB3CB8FFCB2B4874A23C9DB1BFC532BD39E24251AEFCA920ACCB7A1C9B6E61B21531E51CA436817B6ECB8465DE8B2A3E94E7C29DB761BC26C8F4B7112DD429ECBFC2CE13CFD0520135BA9');
CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        value_step REAL NOT NULL,           -- numbers in a chunk are multiples of these
        sd_step REAL NOT NULL,
        UNIQUE (session, side, quantity)
    );
INSERT INTO "series" VALUES(1,1,'left','wrist_flexion',0.01,0.05);
INSERT INTO "series" VALUES(2,1,'left','wrist_ulnar_deviation',0.01,0.05);
INSERT INTO "series" VALUES(3,1,'left','index_lift',0.25,0.25);
INSERT INTO "series" VALUES(4,1,'right','wrist_flexion',0.01,0.05);
INSERT INTO "series" VALUES(5,1,'right','wrist_ulnar_deviation',0.01,0.05);
CREATE TABLE session (
        number INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        started_at TEXT NOT NULL,           -- UTC, ISO 8601
        ended_at TEXT,                      -- NULL while it runs, or after a crash
        end_reason TEXT,
        source_name TEXT NOT NULL,
        source_kind TEXT NOT NULL,
        instrument TEXT,
        program_version TEXT NOT NULL,
        settings_json TEXT NOT NULL,        -- as they were
        end_s REAL,
        limits_json TEXT NOT NULL,          -- with their sources
        rules_json TEXT NOT NULL,           -- of the watch: hold time and so on
        lost_samples INTEGER NOT NULL DEFAULT 0,
        dropped_frames INTEGER NOT NULL DEFAULT 0,
        summary_json TEXT
    );
INSERT INTO "session" VALUES(1,'4119d0b2','2025-03-05T12:00:00.000+00:00','2025-03-05T12:00:20.000+00:00','stopped','demo film','film','cello','0.1.0','{"camera": {"source": "0", "size_px": [1280, 720], "rate_hz": 30.0, "hfov_deg": null, "mirrored": false}, "instrument": {"name": "cello", "handedness": "right"}, "player": {"hand_length_mm": null}, "limits": {"profile": "carpal-pressure", "personal": {}}, "watch": {"hold_s": 3.0, "finger_hold_s": 2.0, "rearm_s": 5.0, "warn_probability": 0.6, "finger_warn_probability": 0.51, "clear_probability": 0.5, "dip_s": 0.4, "hysteresis_deg": 5.0, "hysteresis_mm": 3.0, "min_excursion_s": 0.3, "unseen_grace_s": 1.0, "max_gap_s": 0.25, "warn_roles": ["stopping"], "warn_groups": ["wrist"]}, "display": {"min_cutoff_hz": 1.0, "beta": 0.05}, "clips": {"enabled": true, "limit_gb": 2.0, "film_sound": true, "microphone": false}, "rest": {"nudge_min": 20.0, "load_notice": true}}',20.0,'{"name": "carpal-pressure", "label": "pressure in the carpal tunnel", "description": "Angles that keep the pressure in the carpal tunnel below 25 mmHg (comfort) and below 30 mmHg (extreme; protects three of four people), measured without fingertip force; a hand that presses strings has less margin.", "bands": [{"quantity": "wrist_flexion", "direction": "flexion", "comfort": {"value": 37.7, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 48.6, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 37.7-59.4", "mark": "F"}}, {"quantity": "wrist_flexion", "direction": "extension", "comfort": {"value": 26.6, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 32.7, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 27.2-38.1", "mark": "F"}}, {"quantity": "wrist_ulnar_deviation", "direction": "ulnar", "comfort": {"value": 12.1, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 14.5, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 9.6-19.4", "mark": "F"}}, {"quantity": "wrist_ulnar_deviation", "direction": "radial", "comfort": {"value": 17.8, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 25 mmHg", "mark": "F"}, "extreme": {"value": 21.8, "source": "Keir, Bach, Hudes, Rempel 2007, Human Factors 49(1):88-99, carpal-tunnel pressure below 30 mmHg; 95 % CI 14.7-29.0", "mark": "F"}}, {"quantity": "index_lift", "direction": "lift", "comfort": {"value": 15.0, "source": "common practice: a finger that is about to play stays within a finger''s breadth of the string; not validated", "mark": "common practice"}, "extreme": {"value": 25.0, "source": "common practice: a finger this far from the string comes late and is held up; not validated", "mark": "common practice"}}, {"quantity": "index_pip", "direction": "bend", "comfort": null, "extreme": null}, {"quantity": "index_pip", "direction": "collapse", "comfort": null, "extreme": null}, {"quantity": "index_dip", "direction": "bend", "comfort": null, "extreme": null}, {"quantity": "index_dip", "direction": "collapse", "comfort": {"value": 5.0, "source": "common practice: beyond straight by more than a goniometer''s error the end joint counts as bent backwards; not validated", "mark": "common practice"}, "extreme": {"value": 15.0, "source": "common practice: an end joint this far beyond straight hangs in its ligaments; not validated", "mark": "common practice"}}, {"quantity": "middle_lift", "direction": "lift", "comfort": {"value": 15.0, "source": "common practice: a finger that is about to play stays within a finger''s breadth of the string; not validated", "mark": "common practice"}, "extreme": {"value": 25.0, "source": "common practice: a finger this far from the string comes late and is held up; not validated", "mark": "common practice"}}, {"quantity": "middle_pip", "direction": "bend", "comfort": null, "extreme": null}, {"quantity": "middle_pip", "direction": "collapse", "comfort": null, "extreme": null}, {"quantity": "middle_dip", "direction": "bend", "comfort": null, "extreme": null}, {"quantity": "middle_dip", "direction": "collapse", "comfort": {"value": 5.0, "source": "common practice: beyond straight by more than a goniometer''s error the end joint counts as bent backwards; not validated", "mark": "common practice"}, "extreme": {"value": 15.0, "source": "common practice: an end joint this far beyond straight hangs in its ligaments; not validated", "mark": "common practice"}}, {"quantity": "ring_lift", "direction": "lift", "comfort": {"value": 15.0, "source": "common practice: a finger that is about to play stays within a finger''s breadth of the string; not validated", "mark": "common practice"}, "extreme": {"value": 25.0, "source": "common practice: a finger this far from the string comes late and is held up; not validated", "mark": "common practice"}}, {"quantity": "ring_pip", "direction": "bend", "comfort": null, "extreme": null}, {"quantity": "ring_pip", "direction": "collapse", "comfort": null, "extreme": null}, {"quantity": "ring_dip", "direction": "bend", "comfort": null, "extreme": null}, {"quantity": "ring_dip", "direction": "collapse", "comfort": {"value": 5.0, "source": "common practice: beyond straight by more than a goniometer''s error the end joint counts as bent backwards; not validated", "mark": "common practice"}, "extreme": {"value": 15.0, "source": "common practice: an end joint this far beyond straight hangs in its ligaments; not validated", "mark": "common practice"}}, {"quantity": "little_lift", "direction": "lift", "comfort": {"value": 15.0, "source": "common practice: a finger that is about to play stays within a finger''s breadth of the string; not validated", "mark": "common practice"}, "extreme": {"value": 25.0, "source": "common practice: a finger this far from the string comes late and is held up; not validated", "mark": "common practice"}}, {"quantity": "little_pip", "direction": "bend", "comfort": null, "extreme": null}, {"quantity": "little_pip", "direction": "collapse", "comfort": null, "extreme": null}, {"quantity": "little_dip", "direction": "bend", "comfort": null, "extreme": null}, {"quantity": "little_dip", "direction": "collapse", "comfort": {"value": 5.0, "source": "common practice: beyond straight by more than a goniometer''s error the end joint counts as bent backwards; not validated", "mark": "common practice"}, "extreme": {"value": 15.0, "source": "common practice: an end joint this far beyond straight hangs in its ligaments; not validated", "mark": "common practice"}}, {"quantity": "little_spread", "direction": "spread", "comfort": null, "extreme": null}, {"quantity": "thumb_ip", "direction": "hook", "comfort": null, "extreme": null}, {"quantity": "thumb_ip", "direction": "collapse", "comfort": null, "extreme": null}, {"quantity": "thumb_place", "direction": "radial", "comfort": null, "extreme": null}, {"quantity": "thumb_place", "direction": "ulnar", "comfort": null, "extreme": null}]}','{"hysteresis_deg": 5.0, "hysteresis_mm": 3.0, "unseen_grace_s": 1.0, "min_excursion_s": 0.3, "max_gap_s": 0.25, "hold_s": 3.0, "finger_hold_s": 2.0, "warn_probability": 0.6, "finger_warn_probability": 0.51, "clear_probability": 0.5, "dip_s": 0.4, "rearm_s": 5.0, "warn_sides": ["left", "right"], "warn_groups": ["wrist"]}',0,0,'{"session": {"id": "4119d0b2", "started_at": "2025-03-05T12:00:00.000+00:00", "ended_at": "2025-03-05T12:00:20.000+00:00", "end_reason": "stopped", "duration_s": 20.0, "source": {"name": "demo film", "kind": "film"}, "instrument": "cello", "program_version": "0.1.0", "lost_samples": 0, "dropped_frames": 0}, "start_s": 0.0, "end_s": 20.0, "duration_s": 20.0, "limits": "carpal-pressure", "warnings": 1, "quantities": [{"side": "left", "quantity": "wrist_flexion", "unit": "deg", "group": "wrist", "finger": null, "total_s": 20.0, "measured_s": 20.0, "measured_share": 1.0, "unseen_s": {}, "zones": [{"zone": "within comfort", "direction": "flexion", "seconds": 16.0, "share": 0.8, "sure_seconds": null}, {"zone": "beyond comfort", "direction": "flexion", "seconds": 0.0, "share": 0.0, "sure_seconds": 0.0}, {"zone": "extreme", "direction": "flexion", "seconds": 4.0, "share": 0.2, "sure_seconds": 4.0}, {"zone": "within comfort", "direction": "extension", "seconds": 0.0, "share": 0.0, "sure_seconds": null}, {"zone": "beyond comfort", "direction": "extension", "seconds": 0.0, "share": 0.0, "sure_seconds": 0.0}, {"zone": "extreme", "direction": "extension", "seconds": 0.0, "share": 0.0, "sure_seconds": 0.0}], "percentiles": {"p10": 10.0, "p50": 10.0, "p90": 60.0}, "excursions": [{"level": "comfort", "direction": "flexion", "limit": 37.7, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "flexion", "limit": 48.6, "count": 1, "total_s": 4.0, "longest_s": 4.0, "longest_start_s": 6.0, "peak": 60.0}, {"level": "comfort", "direction": "extension", "limit": 26.6, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "extension", "limit": 32.7, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}], "warnings": 1}, {"side": "left", "quantity": "wrist_ulnar_deviation", "unit": "deg", "group": "wrist", "finger": null, "total_s": 20.0, "measured_s": 20.0, "measured_share": 1.0, "unseen_s": {}, "zones": [{"zone": "within comfort", "direction": "ulnar", "seconds": 20.0, "share": 1.0, "sure_seconds": null}, {"zone": "beyond comfort", "direction": "ulnar", "seconds": 0.0, "share": 0.0, "sure_seconds": 0.0}, {"zone": "extreme", "direction": "ulnar", "seconds": 0.0, "share": 0.0, "sure_seconds": 0.0}, {"zone": "within comfort", "direction": "radial", "seconds": 0.0, "share": 0.0, "sure_seconds": null}, {"zone": "beyond comfort", "direction": "radial", "seconds": 0.0, "share": 0.0, "sure_seconds": 0.0}, {"zone": "extreme", "direction": "radial", "seconds": 0.0, "share": 0.0, "sure_seconds": 0.0}], "percentiles": {"p10": 2.0, "p50": 2.0, "p90": 2.0}, "excursions": [{"level": "comfort", "direction": "ulnar", "limit": 12.1, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "ulnar", "limit": 14.5, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "comfort", "direction": "radial", "limit": 17.8, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "radial", "limit": 21.8, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}], "warnings": 0}, {"side": "left", "quantity": "index_lift", "unit": "mm", "group": "finger", "finger": "index", "total_s": 20.0, "measured_s": 20.0, "measured_share": 1.0, "unseen_s": {}, "zones": [{"zone": "within comfort", "direction": "lift", "seconds": 20.0, "share": 1.0, "sure_seconds": null}, {"zone": "beyond comfort", "direction": "lift", "seconds": 0.0, "share": 0.0, "sure_seconds": 0.0}, {"zone": "extreme", "direction": "lift", "seconds": 0.0, "share": 0.0, "sure_seconds": 0.0}], "percentiles": {"p10": 5.0, "p50": 5.0, "p90": 5.0}, "excursions": [{"level": "comfort", "direction": "lift", "limit": 15.0, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "lift", "limit": 25.0, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}], "warnings": 0}, {"side": "right", "quantity": "wrist_flexion", "unit": "deg", "group": "wrist", "finger": null, "total_s": 20.0, "measured_s": 0.0, "measured_share": 0.0, "unseen_s": {"hand not seen": 20.0}, "zones": [{"zone": "within comfort", "direction": "flexion", "seconds": 0.0, "share": null, "sure_seconds": null}, {"zone": "beyond comfort", "direction": "flexion", "seconds": 0.0, "share": null, "sure_seconds": 0.0}, {"zone": "extreme", "direction": "flexion", "seconds": 0.0, "share": null, "sure_seconds": 0.0}, {"zone": "within comfort", "direction": "extension", "seconds": 0.0, "share": null, "sure_seconds": null}, {"zone": "beyond comfort", "direction": "extension", "seconds": 0.0, "share": null, "sure_seconds": 0.0}, {"zone": "extreme", "direction": "extension", "seconds": 0.0, "share": null, "sure_seconds": 0.0}], "percentiles": null, "excursions": [{"level": "comfort", "direction": "flexion", "limit": 37.7, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "flexion", "limit": 48.6, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "comfort", "direction": "extension", "limit": 26.6, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "extension", "limit": 32.7, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}], "warnings": 0}, {"side": "right", "quantity": "wrist_ulnar_deviation", "unit": "deg", "group": "wrist", "finger": null, "total_s": 20.0, "measured_s": 0.0, "measured_share": 0.0, "unseen_s": {"hand not seen": 20.0}, "zones": [{"zone": "within comfort", "direction": "ulnar", "seconds": 0.0, "share": null, "sure_seconds": null}, {"zone": "beyond comfort", "direction": "ulnar", "seconds": 0.0, "share": null, "sure_seconds": 0.0}, {"zone": "extreme", "direction": "ulnar", "seconds": 0.0, "share": null, "sure_seconds": 0.0}, {"zone": "within comfort", "direction": "radial", "seconds": 0.0, "share": null, "sure_seconds": null}, {"zone": "beyond comfort", "direction": "radial", "seconds": 0.0, "share": null, "sure_seconds": 0.0}, {"zone": "extreme", "direction": "radial", "seconds": 0.0, "share": null, "sure_seconds": 0.0}], "percentiles": null, "excursions": [{"level": "comfort", "direction": "ulnar", "limit": 12.1, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "ulnar", "limit": 14.5, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "comfort", "direction": "radial", "limit": 17.8, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}, {"level": "extreme", "direction": "radial", "limit": 21.8, "count": 0, "total_s": 0.0, "longest_s": null, "longest_start_s": null, "peak": null}], "warnings": 0}], "lift_planes": {"left": {"resting fingertips": 20.0}}, "cues": [], "excursions": [{"side": "left", "quantity": "wrist_flexion", "direction": "flexion", "level": "extreme", "limit": 48.6, "start_s": 6.0, "end_s": 10.0, "end": "returned", "peak": 60.0, "peak_s": 7.0, "warned_s": null}], "warned": [{"side": "left", "quantity": "wrist_flexion", "direction": "flexion", "limit": 48.6, "since_s": 6.0, "fired_s": 9.0, "cleared_s": 10.1}], "marks": [{"time_s": 3.0, "note": "here"}]}');
CREATE TABLE warning (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        direction TEXT NOT NULL,
        limit_value REAL NOT NULL,
        since_s REAL NOT NULL,
        fired_s REAL NOT NULL,
        cleared_s REAL                      -- NULL while it is shown
    );
INSERT INTO "warning" VALUES(1,1,'left','wrist_flexion','flexion',48.6,6.0,9.0,10.1);
CREATE INDEX chunk_of_series ON chunk (series, id);
CREATE INDEX excursion_of_session ON excursion (session, start_s);
CREATE INDEX mark_of_session ON mark (session, time_s);
CREATE INDEX warning_of_session ON warning (session, fired_s);
CREATE INDEX passage_of_session ON passage (session, start_s);
CREATE INDEX passage_of_piece ON passage (piece);
CREATE INDEX clip_of_file ON clip (file);
CREATE INDEX discomfort_of_session ON discomfort (session);
CREATE INDEX exposure_of_session ON exposure (session);
CREATE INDEX exposure_of_passage ON exposure (passage);
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('discomfort',2);
INSERT INTO "sqlite_sequence" VALUES('passage',2);
COMMIT;