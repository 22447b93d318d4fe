-- Published views for plain SQL: what may be read, without operators' names. Each says its grain.
CREATE OR REPLACE VIEW paste_batches AS SELECT * FROM pastes ORDER BY cook_end, paste_key;      -- one row a paste batch
CREATE OR REPLACE VIEW dough_batches AS SELECT * FROM batches ORDER BY mixed_at, batch_key;     -- one row a dough batch
CREATE OR REPLACE VIEW loaves AS                                                               -- one row a measured loaf in force
    SELECT batch_key, loaf, measured_at, scaled_g, baked_g, volume_ml, cooled_minutes, core_temp_c,
           position, reason, method, scale, volumeter
    FROM log_loaf WHERE status = 'accepted' ORDER BY measured_at, batch_key, loaf;
CREATE OR REPLACE VIEW gas_tests AS                                                            -- one row a test in force
    SELECT gas_test, tested_at, batch_key, yeast_lot, gas_produced_ml, gas_retained_ml, piece_g, test_minutes, sampled_after
    FROM log_gas WHERE status = 'accepted' ORDER BY tested_at, gas_test;
CREATE OR REPLACE VIEW pieces AS                                                               -- one row a line, product and shift
    SELECT line, product, shift_date, shift, pieces_made, pieces_wasted, stopped_minutes
    FROM log_output WHERE status = 'accepted' ORDER BY shift_date, shift, line, product;
CREATE OR REPLACE VIEW alerts AS SELECT alert, signalled_at, body FROM alert ORDER BY signalled_at, alert;  -- one row an alert
CREATE OR REPLACE VIEW findings AS SELECT * FROM finding ORDER BY shift_date, kind, key, rule;  -- one row a limit broken
