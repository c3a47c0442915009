-- What the studio speaks on its pages, in its letters and on its papers: a language tag (BCP 47).
ALTER TABLE studio ADD COLUMN language TEXT NOT NULL DEFAULT 'en' CHECK (length(language) BETWEEN 2 AND 35);
