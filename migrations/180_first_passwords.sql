-- Until when the password is a first one: drawn by the program, told by the owner, and to be replaced by its holder's own
-- before anything is open to her. NULL once it is her own.
ALTER TABLE account ADD COLUMN first_until INTEGER;
