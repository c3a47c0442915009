//! CSV (RFC 4180) that a spreadsheet can open without running what a stranger typed.

/// Begins a formula, or makes a spreadsheet look past what precedes one. The wide forms do the same in some locales.
const DANGEROUS: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '\0', '＝', '＋', '＠'];

/// The field as it goes into the file: one that could begin a formula gets an apostrophe in front.
pub fn guarded(field: &str) -> std::borrow::Cow<'_, str> {
    if field.starts_with(DANGEROUS) { format!("'{field}").into() } else { field.into() }
}

/// The field as it was before [`guarded`]. A name may well begin with an apostrophe, so one alone is left.
pub fn unguarded(field: &str) -> &str {
    field.strip_prefix('\'').filter(|rest| rest.starts_with(DANGEROUS)).unwrap_or(field)
}

/// Appends one row, quoted where needed and ended by CRLF.
pub fn write_row<'a>(out: &mut Vec<u8>, fields: impl IntoIterator<Item = &'a str>) {
    let mut writer = ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).flexible(true).from_writer(out);
    for field in fields {
        // Writing into a Vec can't fail.
        let _ = writer.write_field(guarded(field).as_bytes());
    }
    let _ = writer.write_record(None::<&[u8]>);
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_row_is_quoted_as_rfc_4180_says() {
        let mut out = Vec::new();
        write_row(&mut out, ["plain", "a,b", "say \"so\"", "two\r\nlines", ""]);
        assert_eq!(String::from_utf8(out).unwrap(), "plain,\"a,b\",\"say \"\"so\"\"\",\"two\r\nlines\",\r\n");
    }

    #[test]
    fn a_formula_is_made_harmless() {
        for field in ["=1+1", "+49", "-2", "@x", "\t=1", "\r=1", "\n=1", "\0=1", "＝1"] {
            assert_eq!(guarded(field), format!("'{field}"));
        }
        assert_eq!(guarded("a=1"), "a=1");
        assert_eq!(guarded(""), "");
    }

    proptest! {
        #[test]
        fn any_row_reads_back(fields in proptest::collection::vec(any::<String>(), 1..6)) {
            let mut out = Vec::new();
            write_row(&mut out, fields.iter().map(String::as_str));
            prop_assert!(out.ends_with(b"\r\n"));
            let mut reader = ::csv::ReaderBuilder::new().has_headers(false).from_reader(out.as_slice());
            let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
            prop_assert_eq!(rows.len(), 1);
            for (read, field) in rows[0].iter().zip(&fields) {
                prop_assert_eq!(read, &guarded(field));
            }
        }
    }
}
