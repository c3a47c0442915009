//! The export package: one ZIP that holds a BagIt bag (RFC 8493) with every client's records.
//!
//! ```text
//! bagit.txt  bag-info.txt  manifest-sha256.txt  tagmanifest-sha256.txt  read-me.txt
//! studio-key.pem  tagmanifest-sha256.txt.sig   the studio's public key, and its signature over the tag manifest
//! data/export.json                     who exported what, when and why
//! data/clients/<id>/record.pdf .json   one client
//! data/clients/<id>/fhir.json          her forms and treatments as HL7 FHIR R4B
//! data/clients/<id>/files/             her photos, and the files of her letters
//! data/clients/<id>/rows.json          in a copy that she takes herself: every row about her
//! data/papers.json, data/papers/       the studio's own papers: certificates and insurance policy
//! data/tables/<table>.csv              all clients; papers.csv the studio's papers
//! data/data-dictionary.csv             what each column holds
//! ```
//!
//! The tag manifest holds the hash of the manifest, which holds the hash of every file: one signature covers all.
//!
//! It is written front to back, one client at a time. The rows of the tables wait in a file that the caller lends, so
//! that memory holds no more than one client and the list of files. The same input gives the same bytes.

mod seal;
mod spool;

use std::fmt::Write as _;
use std::io::{self, Read, Seek, Write};

use sha2::{Digest as _, Sha256};
use time::UtcOffset;
use zip::write::{SimpleFileOptions, StreamWriter};
use zip::{CompressionMethod, ZipWriter};

use super::fhir::bundle;
use super::pdf::{PdfRefused, Press};
use super::record::{ClientRecord, ExportHead, LAYOUT, Paper};
use super::tables::{PAPERS, TABLES, dictionary};
use crate::domain::ids::ClientId;
use crate::studio_key::StudioKey;
use seal::Sealed;
pub(super) use seal::{PREFIX, SEAL_LENGTH};
use spool::Spool;

/// The declaration that RFC 8493 §2.1.1 prescribes, to the byte.
pub(super) const BAGIT: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
pub(super) const BAG_INFO: &str = "bag-info.txt";
pub(super) const MANIFEST: &str = "manifest-sha256.txt";
pub(super) const TAG_MANIFEST: &str = "tagmanifest-sha256.txt";
/// The public half of the key that signed; a tag file like others, so it is signed too.
pub(super) const KEY: &str = "studio-key.pem";
/// The 64 bytes of the signature. No manifest lists it, since it signs the list.
pub(super) const SIGNATURE: &str = "tagmanifest-sha256.txt.sig";
pub(super) const EXPORT: &str = "data/export.json";
const READ_ME: &str = "read-me.txt";

/// In English whatever the studio speaks, as are the names of files and fields: whoever opens a package years later with
/// other programs finds them under the same words.
const READ_ME_TEXT: &str = "\
This package holds client records of a lash and brow studio. They are private; store them accordingly.

data/clients    one folder a client: record.pdf to read, record.json for programs, fhir.json for programs that know
                HL7 FHIR R4B, files with photos and letters; in a copy that a client took herself also rows.json: all else
                that is kept about her, row by row (a time is in seconds since 1970, UTC; money in the smallest coin)
data/tables     the same records of all clients as tables, to open in a spreadsheet
data/papers     the studio's certificates and insurance policy, which data/papers.json and data/tables/papers.csv list
data/data-dictionary.csv   what each column of the tables holds
data/export.json           who made this package, when and why

To see whether anything was changed since:  palpebra verify FILE
or, once unpacked, with common tools:       sha256sum -c manifest-sha256.txt tagmanifest-sha256.txt
Checksums find accidents, the studio's signature finds a change made on purpose:
  openssl pkeyutl -verify -pubin -inkey studio-key.pem -rawin -in tagmanifest-sha256.txt -sigfile tagmanifest-sha256.txt.sig
Ask the studio for its key, and compare: whoever changes a package can put a key of his own into it.
";

/// Why no package came about.
#[derive(Debug, thiserror::Error)]
pub enum PackageRefused {
    /// Reading or writing failed, a full disk for one.
    #[error("the package could not be written: {0}")]
    Io(#[from] io::Error),
    /// The ZIP can't hold it: the same client twice, for one.
    #[error("the package could not be written: {0}")]
    Zip(#[from] zip::result::ZipError),
    /// A client's paper could not be written.
    #[error("client {client}: {refused}")]
    Pdf {
        /// Whose.
        client: ClientId,
        /// Why.
        refused: PdfRefused,
    },
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// SHA-256 of `manifest-sha256.txt` in lower-case hex: it stands for all payload; keep it in the log.
    pub manifest_sha256: String,
    /// Number of payload files.
    pub files: u64,
    /// Their size in bytes.
    pub bytes: u64,
    /// Number of clients.
    pub clients: u64,
}

/// One client's files and rows, ready to be put into a package. Rendering is most of the work and needs nothing but
/// its input, so several threads can render for one writer.
pub struct Rendered {
    id: ClientId,
    pdf: Vec<u8>,
    json: Vec<u8>,
    fhir: Vec<u8>,
    /// By table, in the order of [`TABLES`].
    rows: Vec<Vec<u8>>,
}

impl Rendered {
    /// Renders a client's files.
    ///
    /// # Errors
    /// [`PackageRefused::Pdf`] when her paper can't be written.
    pub fn new(press: &mut Press, head: &ExportHead, client: &ClientRecord) -> Result<Self, PackageRefused> {
        let pdf = press
            .client_record(head, client)
            .map_err(|refused| PackageRefused::Pdf { client: client.id.clone(), refused })?;
        let rows = TABLES.iter().map(|table| {
            let mut rows = Vec::new();
            table.write_rows(client, &mut rows);
            rows
        });
        Ok(Self {
            id: client.id.clone(),
            pdf,
            json: json(client)?,
            fhir: json(&bundle(head, client))?,
            rows: rows.collect(),
        })
    }
}

/// Writes a package.
pub struct PackageWriter<W: Write, S> {
    zip: ZipWriter<StreamWriter<Sealed<W>>>,
    options: SimpleFileOptions,
    head: ExportHead,
    key: StudioKey,
    spool: Spool<S>,
    manifest: String,
    files: u64,
    bytes: u64,
    clients: u64,
}

impl<W: Write, S: Read + Write + Seek> PackageWriter<W, S> {
    /// Begins a package in `out`. `spool` is empty scratch space for the rows of the tables: a temporary file that
    /// nobody else can read, or a [`std::io::Cursor`] for small exports.
    ///
    /// # Errors
    /// [`PackageRefused`] when the first file can't be written.
    pub fn new(out: W, spool: S, head: ExportHead, key: StudioKey) -> Result<Self, PackageRefused> {
        let mut writer = Self {
            zip: ZipWriter::new_stream(Sealed::new(out)),
            options: options(&head),
            head,
            key,
            spool: Spool::new(spool),
            manifest: String::new(),
            files: 0,
            bytes: 0,
            clients: 0,
        };
        writer.put("bagit.txt", BAGIT.as_bytes())?;
        let export = json(&Layout { layout: LAYOUT, export: &writer.head })?;
        writer.payload(EXPORT, &export)?;
        writer.payload("data/data-dictionary.csv", &dictionary())?;
        Ok(writer)
    }

    /// Adds a client.
    ///
    /// # Errors
    /// [`PackageRefused`] when her files can't be written, or she is in it already.
    pub fn add_client(&mut self, client: &ClientRecord) -> Result<(), PackageRefused> {
        self.add(&Rendered::new(&mut Press::default(), &self.head, client)?)
    }

    /// Adds a client whose files are rendered already.
    ///
    /// # Errors
    /// [`PackageRefused`] when the files can't be written, or she is in it already.
    pub fn add(&mut self, client: &Rendered) -> Result<(), PackageRefused> {
        self.payload(&format!("data/clients/{}/record.pdf", client.id), &client.pdf)?;
        self.payload(&format!("data/clients/{}/record.json", client.id), &client.json)?;
        self.payload(&format!("data/clients/{}/fhir.json", client.id), &client.fhir)?;
        for (table, rows) in client.rows.iter().enumerate() {
            self.spool.append(table, rows)?;
        }
        self.clients += 1;
        Ok(())
    }

    /// Adds a file beside a client's record.
    ///
    /// # Errors
    /// [`PackageRefused`] when it can't be written, or is in it already.
    pub fn add_file(&mut self, client: &ClientId, name: &str, content: &[u8]) -> Result<(), PackageRefused> {
        self.payload(&format!("data/clients/{client}/{name}"), content)
    }

    /// Lists the studio's papers, whose files are to follow.
    ///
    /// # Errors
    /// [`PackageRefused`] when the lists can't be written, or are in it already.
    pub fn add_papers(&mut self, papers: &[Paper]) -> Result<(), PackageRefused> {
        self.payload("data/papers.json", &json(&papers)?)?;
        let mut table = Vec::new();
        PAPERS.write_header(&mut table);
        papers.iter().for_each(|paper| PAPERS.write_rows(paper, &mut table));
        self.payload("data/tables/papers.csv", &table)
    }

    /// Adds the file of a paper.
    ///
    /// # Errors
    /// [`PackageRefused`] when it can't be written, or is in it already.
    pub fn add_paper_file(&mut self, name: &str, content: &[u8]) -> Result<(), PackageRefused> {
        self.payload(&format!("data/papers/{name}"), content)
    }

    /// Writes the tables, the bag's own files, the signature and the seal.
    ///
    /// # Errors
    /// [`PackageRefused`] when they can't be written; the package is worthless then.
    pub fn finish(mut self) -> Result<(Summary, W), PackageRefused> {
        self.tables()?;
        let info = self.put(BAG_INFO, self.bag_info().as_bytes())?;
        let read_me = self.put(READ_ME, self.read_me().as_bytes())?;
        let key = self.put(KEY, self.key.public().to_pem().as_bytes())?;
        let bagit = hex(&Sha256::digest(BAGIT));
        let manifest = std::mem::take(&mut self.manifest);
        let manifest_sha256 = self.put(MANIFEST, manifest.as_bytes())?;
        let tags = [
            (info.as_str(), BAG_INFO),
            (&bagit, "bagit.txt"),
            (&manifest_sha256, MANIFEST),
            (&read_me, READ_ME),
            (&key, KEY),
        ];
        let tags: String = tags.iter().fold(String::new(), |mut lines, (hash, name)| {
            lines.push_str(&manifest_line(hash, name));
            lines
        });
        self.put(TAG_MANIFEST, tags.as_bytes())?;
        let signature = self.key.sign(tags.as_bytes());
        self.put(SIGNATURE, &signature)?;
        self.zip.set_raw_comment(seal::placeholder())?;
        let out = self.zip.finish()?.into_inner().finish()?;
        let (files, bytes, clients) = (self.files, self.bytes, self.clients);
        Ok((Summary { manifest_sha256, files, bytes, clients }, out))
    }

    fn tables(&mut self) -> Result<(), PackageRefused> {
        for (index, table) in TABLES.iter().enumerate() {
            let name = format!("data/tables/{}.csv", table.name);
            let large = self.spool.len(index) > 0xF000_0000;
            self.zip.start_file(name.as_str(), self.options.large_file(large))?;
            let mut header = Vec::new();
            table.write_header(&mut header);
            let mut hash = Sha256::new();
            let mut length = 0;
            let zip = &mut self.zip;
            let mut write = |part: &[u8]| {
                hash.update(part);
                length += byte_count(part);
                zip.write_all(part)
            };
            write(&header)?;
            self.spool.read(index, &mut write)?;
            self.count(&name, &hex(&hash.finalize()), length);
        }
        Ok(())
    }

    fn read_me(&self) -> String {
        match self.head.locked_away {
            0 => READ_ME_TEXT.to_owned(),
            n => format!(
                "{READ_ME_TEXT}\nNot in it: {n} client record(s) that are locked away for claims. The studio hands each of \
                 these out alone.\n"
            ),
        }
    }

    fn bag_info(&self) -> String {
        let at = self.head.at.utc.to_offset(UtcOffset::UTC).date();
        let line = |text: &str| text.split(char::is_control).collect::<Vec<_>>().join(" ");
        let mut out = String::new();
        // Writing into a String can't fail.
        let _ = writeln!(out, "Source-Organization: {}", line(&self.head.studio.name));
        let _ = writeln!(out, "Bagging-Date: {at}");
        let _ = writeln!(out, "External-Identifier: {}", self.head.id);
        let _ = writeln!(out, "Bag-Software-Agent: {}", line(&self.head.program));
        let _ = writeln!(out, "Payload-Oxum: {}.{}", self.bytes, self.files);
        let _ = writeln!(out, "Palpebra-Layout: {LAYOUT}");
        out
    }

    fn payload(&mut self, name: &str, content: &[u8]) -> Result<(), PackageRefused> {
        let hash = self.put(name, content)?;
        self.count(name, &hash, byte_count(content));
        Ok(())
    }

    fn count(&mut self, name: &str, hash: &str, length: u64) {
        self.manifest.push_str(&manifest_line(hash, name));
        self.files += 1;
        self.bytes += length;
    }

    fn put(&mut self, name: &str, content: &[u8]) -> Result<String, PackageRefused> {
        self.zip.start_file(name, self.options.compression_level(Some(level(name))))?;
        self.zip.write_all(content)?;
        Ok(hex(&Sha256::digest(content)))
    }
}

/// `export.json`: the head and the version of the layout.
#[derive(serde::Serialize)]
struct Layout<'a> {
    layout: u32,
    #[serde(flatten)]
    export: &'a ExportHead,
}

fn options(head: &ExportHead) -> SimpleFileOptions {
    let at = head.at.local;
    let year = u16::try_from(at.year()).unwrap_or(0);
    let stamp = zip::DateTime::from_date_and_time(
        year,
        at.month().into(),
        at.day(),
        at.hour(),
        at.minute(),
        at.second() / 2 * 2,
    );
    SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(stamp.unwrap_or_default())
        .unix_permissions(0o644)
}

/// How hard a file is compressed. Papers and pictures are inside themselves already; "stored" is another method of ZIP, which
/// readers that go front to back can't read where the length stands behind the content.
fn level(name: &str) -> i64 {
    let compressed = [".pdf", ".jpg", ".png"].iter().any(|end| name.ends_with(end));
    if compressed { 1 } else { 3 }
}

fn json(value: &impl serde::Serialize) -> io::Result<Vec<u8>> {
    let mut out = serde_json::to_vec_pretty(value)?;
    out.push(b'\n');
    Ok(out)
}

fn manifest_line(hash: &str, name: &str) -> String {
    format!("{hash}  {name}\n")
}

pub(super) fn hex(hash: &[u8]) -> String {
    data_encoding::HEXLOWER.encode(hash)
}

fn byte_count(bytes: &[u8]) -> u64 {
    u64::try_from(bytes.len()).unwrap_or(u64::MAX)
}
