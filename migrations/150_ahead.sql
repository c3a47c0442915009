-- Who has a treatment booked ahead, which the retouch list asks for all clients at once.
CREATE INDEX visit_ahead ON visit (starts_at, ends_at, client_id)
    WHERE purpose = 'treatment' AND state IN ('booked', 'arrived', 'in_treatment');
