-- Of a price, the part that a deposit had paid: without it the sum of a day would change when a client leaves.
ALTER TABLE past_money ADD COLUMN counted_minor INTEGER NOT NULL DEFAULT 0 CHECK (counted_minor BETWEEN 0 AND amount_minor);
CREATE INDEX past_money_by_day ON past_money (on_day) WHERE what = 'price';
