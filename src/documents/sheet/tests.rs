use proptest::prelude::*;

use super::*;

fn cells(sheet: &Sheet) -> Vec<Vec<&str>> {
    sheet.rows.iter().map(|row| row.cells.iter().map(String::as_str).collect()).collect()
}

fn lines(sheet: &Sheet) -> Vec<u64> {
    sheet.rows.iter().map(|row| row.line).collect()
}

/// RFC 4180 §2, with each of the separators.
#[test]
fn a_table_is_read_whatever_stands_between_its_cells() {
    for separator in Separator::ALL {
        let mark = char::from(separator.byte());
        let text =
            format!("Name{mark}Note\r\n\"Holm{mark} Mia\"{mark}\"said \"\"so\"\"\r\nand left\"\r\n\r\nZoë{mark}\r\n");
        let sheet = read(text.as_bytes(), None, None).unwrap();
        assert_eq!(sheet.separator, Some(separator));
        assert_eq!(sheet.heads, ["Name", "Note"]);
        let holm = format!("Holm{mark} Mia");
        assert_eq!(cells(&sheet), [vec![holm.as_str(), "said \"so\"\nand left"], vec!["Zoë", ""]]);
        assert_eq!(lines(&sheet), [2, 5], "a row is named by the line on which it begins");
    }
    let said = read(b"sep=;\r\na,b;c\r\n1;2\r\n", None, None).unwrap();
    assert_eq!((said.heads.clone(), lines(&said)), (vec!["a,b".to_owned(), "c".to_owned()], vec![3]));
    let forced = read(b"a,b;c\r\n1;2\r\n", None, Some(Separator::Semicolon)).unwrap();
    assert_eq!(forced.heads.len(), 2);
}

#[test]
fn letters_are_read_as_spreadsheets_write_them() {
    let text = "Name\r\nZoë Løve\r\n";
    let western = b"Name\r\nZo\xEB L\xF8ve \x80\r\n";
    let wide: Vec<u8> = [0xFF, 0xFE].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let marked = [b"\xEF\xBB\xBF".as_slice(), text.as_bytes()].concat();
    for bytes in [text.as_bytes(), &marked, &wide] {
        let sheet = read(bytes, None, None).unwrap();
        assert_eq!((sheet.charset, cells(&sheet)), (Charset::Unicode, vec![vec!["Zoë Løve"]]));
        assert_eq!(sheet.heads, ["Name"], "the mark is no letter");
    }
    let guessed = read(western, None, None).unwrap();
    // 0x80 is the euro sign in Windows-1252 (Encoding Standard, index windows-1252).
    assert_eq!((guessed.charset, cells(&guessed)), (Charset::Western, vec![vec!["Zoë Løve €"]]));
    let declared = read(text.as_bytes(), Some(Charset::Western), None).unwrap();
    assert_eq!(cells(&declared), [["ZoÃ« LÃ¸ve"]], "what is said counts");
    assert_eq!(read(western, Some(Charset::Unicode), None), Err(SheetRefused::NotText(NotText::NotUnicode)));
}

#[test]
fn what_is_no_table_is_refused_in_words() {
    assert_eq!(read(b"", None, None), Err(SheetRefused::Empty));
    assert_eq!(read(b"Name,Mail\r\n", None, None), Err(SheetRefused::Empty));
    assert_eq!(read(b"PK\x03\x04....", None, None), Err(SheetRefused::NotText(NotText::Workbook)));
    assert_eq!(read(b"a\0b\r\nc", None, None), Err(SheetRefused::NotText(NotText::Binary)));
    let wide = ",".repeat(MOST_COLUMNS);
    assert_eq!(read(format!("a{wide}\r\nb").as_bytes(), None, None), Err(SheetRefused::TooManyColumns));
    let long = "a\r\n".repeat(MOST_ROWS + 2);
    assert_eq!(read(long.as_bytes(), None, None), Err(SheetRefused::TooManyRows));
    assert_eq!(read(&vec![b'a'; MOST_BYTES + 1], None, None), Err(SheetRefused::TooLarge));
}

#[test]
fn our_own_guard_against_formulas_is_taken_off_again() {
    let sheet = read(b"Phone,Name\r\n'+493023125042,'t Hooft\r\n", None, None).unwrap();
    assert_eq!(cells(&sheet), [["+493023125042", "'t Hooft"]]);
}

#[test]
fn a_card_s_text_holds_no_more_than_a_table_s_can() {
    let old =
        b"BEGIN:VCARD\r\nVERSION:2.1\r\nFN;ENCODING=QUOTED-PRINTABLE:Mia=00=0D=0AHolm\r\nTEL:1\r2\r\nEND:VCARD\r\n";
    let sheet = read(old, None, None).unwrap();
    assert_eq!(cells(&sheet), [["Mia\nHolm", "", "1\n2", ""]]);
}

/// Forms of RFC 6350 (4.0), RFC 2426 (3.0) and the older 2.1 (quoted-printable: from memory).
#[test]
fn address_cards_of_every_version_become_rows() {
    let text = "BEGIN:VCARD\r\nVERSION:4.0\r\nFN:Mia Holm\r\nN:Holm;Mia;;;\r\nEMAIL;TYPE=home:mi\r\n a@clients.example.org\r\n\
                TEL;VALUE=uri;TYPE=cell:tel:+49-30-23125-042\r\nBDAY:19940530\r\nEND:VCARD\r\n\
                BEGIN:VCARD\nVERSION:3.0\nN:Løve;Zoë;;;\nFN:Zoë Løve\\, née Ünal\nEMAIL:zoe@clients.example.org\n\
                TEL;TYPE=CELL,VOICE:030 23125043\nBDAY:1991-06-14\nEND:VCARD\n\
                begin:vcard\r\nVERSION:2.1\r\nN;CHARSET=UTF-8;ENCODING=QUOTED-PRINTABLE:Gr=C3=BCn;Ada\r\n\
                EMAIL;INTERNET:ada@clients.example.org\r\nBDAY:--0530\r\nend:vcard\r\n";
    let sheet = read(text.as_bytes(), None, None).unwrap();
    assert_eq!(sheet.separator, None);
    assert_eq!(
        cells(&sheet),
        [
            ["Mia Holm", "mia@clients.example.org", "+49-30-23125-042", "1994-05-30"],
            ["Zoë Løve, née Ünal", "zoe@clients.example.org", "030 23125043", "1991-06-14"],
            ["Ada Grün", "ada@clients.example.org", "", ""],
        ]
    );
    assert_eq!(lines(&sheet), [1, 10, 18]);
}

fn kept_to_its_bounds(bytes: &[u8], charset: Option<Charset>, separator: Option<Separator>) {
    let Ok(sheet) = read(bytes, charset, separator) else { return };
    assert!(!sheet.rows.is_empty() && sheet.rows.len() <= MOST_ROWS);
    let mut last = 0;
    for row in &sheet.rows {
        assert!(row.line > last, "lines rise");
        last = row.line;
        assert!(row.cells.len() <= MOST_COLUMNS);
        assert!(row.cells.iter().all(|cell| cell.chars().count() <= MOST_CHARACTERS && !cell.contains('\0')));
    }
}

proptest! {
    #[test]
    fn bytes_that_nobody_meant_break_nothing(
        bytes in proptest::collection::vec(any::<u8>(), 0..600),
        charset in proptest::option::of(proptest::sample::select(Charset::ALL.to_vec())),
        separator in proptest::option::of(proptest::sample::select(Separator::ALL.to_vec())),
    ) {
        kept_to_its_bounds(&bytes, charset, separator);
    }

    #[test]
    fn cards_that_nobody_meant_break_nothing(
        body in "(?s)((BEGIN:VCARD|END:VCARD|VERSION:[234].[01]|N|FN|BDAY|TEL|EMAIL|X|;|:|,|\\\\|=|=C3|\"|\r\n| |\t|--?|[0-9]{1,8}|tel:|ENCODING=(B|QUOTED-PRINTABLE)|CHARSET=.|VALUE=date|\\PC)){0,60}",
        junk in proptest::collection::vec(any::<u8>(), 0..40),
    ) {
        let bytes = [b"BEGIN:VCARD\r\n", body.as_bytes(), b"\r\nBDAY:", &junk, b"\r\nEND:VCARD\r\n"].concat();
        kept_to_its_bounds(&bytes, None, None);
    }

    #[test]
    fn a_table_that_we_write_reads_back(rows in proptest::collection::vec(proptest::collection::vec("[^\0\r\n]{0,12}", 3), 1..6)) {
        let mut out = Vec::new();
        crate::documents::csv::write_row(&mut out, ["a", "b", "c"]);
        for row in &rows {
            crate::documents::csv::write_row(&mut out, row.iter().map(String::as_str));
        }
        let tidy = |row: &Vec<String>| -> Vec<String> { row.iter().map(|text| cell(&crate::documents::csv::guarded(text))).collect() };
        let wanted: Vec<Vec<String>> = rows.iter().map(tidy).filter(|row| row.iter().any(|cell| !cell.is_empty())).collect();
        match read(&out, None, Some(Separator::Comma)) {
            Ok(sheet) => prop_assert_eq!(sheet.rows.into_iter().map(|row| row.cells).collect::<Vec<_>>(), wanted),
            Err(refused) => prop_assert!(refused == SheetRefused::Empty && wanted.is_empty()),
        }
    }
}
