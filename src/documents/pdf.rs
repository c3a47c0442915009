//! Records on paper: PDF/A-3a (ISO 19005-3), tagged to PDF/UA-1 (ISO 14289-1).
//!
//! krilla checks the file against both standards while it writes, and refuses what it finds at fault; neither standard
//! can be checked whole by a program. The same input in the same language gives the same bytes.

mod client;
mod faces;
mod flow;
mod reaction;
mod style;
mod text;
mod times;
mod visit;

use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::geom::Point;
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, LineCap, LineJoin, Paint, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, Identifier, Node, SpanTag, TagGroup, TagTree};
use krilla::{Document, SerializeSettings, destination::XyzDestination};
use time::{OffsetDateTime, UtcOffset};

use super::record::{ClientRecord, ExportHead};
use crate::language::Language;
use crate::{t, tf};
use faces::FACES;
use flow::{Child, Flow, Op, PAGE};
pub use reaction::{PaperEntry, ReactionPaper};
use style::Ink;
use text::Typesetter;

/// Why no file came about. Says nothing of what the record holds.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the PDF could not be written: {0}")]
pub struct PdfRefused(String);

/// Writes papers one after the other. What one has laid helps the next, so whoever writes many keeps one; it remembers
/// texts of the papers before, so whoever is done with them drops it.
#[derive(Default)]
pub struct Press(Typesetter);

impl Press {
    /// Writes one client's record.
    ///
    /// # Errors
    /// [`PdfRefused`] when the file would break PDF/A-3a or PDF/UA-1.
    pub fn client_record(&mut self, head: &ExportHead, client: &ClientRecord) -> Result<Vec<u8>, PdfRefused> {
        client_record(Flow::new(&mut self.0), head, client)
    }
}

fn client_record(mut flow: Flow<'_>, head: &ExportHead, client: &ClientRecord) -> Result<Vec<u8>, PdfRefused> {
    client::write(&mut flow, head, client);
    let foot =
        tf("{studio} · record of {client}").with("studio", &head.studio.name).with("client", &client.person.name);
    flow.foot(&foot.to_string());
    let metadata = Metadata::new()
        .title(tf("Record of {client}").with("client", &client.person.name).to_string())
        .authors(vec![head.studio.name.clone()])
        .creator(head.program.clone())
        .document_id(format!("{}/{}", head.id, client.id))
        .language(Language::spoken().code().to_owned())
        .creation_date(date_time(head.at.utc));
    finish(flow, metadata)
}

/// Writes a reaction report.
///
/// # Errors
/// [`PdfRefused`] when the file would break PDF/A-3a or PDF/UA-1.
pub fn reaction_report(paper: &ReactionPaper) -> Result<Vec<u8>, PdfRefused> {
    let mut typesetter = Typesetter::default();
    let mut flow = Flow::new(&mut typesetter);
    reaction::write(&mut flow, paper);
    flow.foot(&tf("{studio} · reaction report").with("studio", &paper.studio).to_string());
    let metadata = Metadata::new()
        .title(t("Reaction report").to_owned())
        .authors(vec![paper.studio.clone()])
        .creator(concat!("palpebra ", env!("CARGO_PKG_VERSION")).to_owned())
        .document_id(paper.id.to_string())
        .language(Language::spoken().code().to_owned())
        .creation_date(date_time(paper.at));
    finish(flow, metadata)
}

fn date_time(at: OffsetDateTime) -> DateTime {
    let at = at.to_offset(UtcOffset::UTC);
    let year = u16::try_from(at.year()).unwrap_or(0);
    let day = DateTime::new(year).month(at.month().into()).day(at.day());
    day.hour(at.hour()).minute(at.minute()).second(at.second()).utc_offset_hour(0).utc_offset_minute(0)
}

fn finish(flow: Flow<'_>, metadata: Metadata) -> Result<Vec<u8>, PdfRefused> {
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A3_A)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|_| PdfRefused("the two standards don't go together".to_owned()))?;
    let mut document = Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    let mut leaves = Vec::new();
    for ops in &flow.pages {
        let size = PageSettings::from_wh(PAGE.0, PAGE.1).ok_or_else(|| PdfRefused("page size".to_owned()))?;
        let mut page = document.start_page_with(size);
        let mut surface = page.surface();
        for op in ops {
            draw(&mut surface, op, &mut leaves);
        }
        surface.finish();
        page.finish();
    }
    document.set_metadata(metadata);
    document.set_outline(outline(&flow));
    document.set_tag_tree(tree(&flow, leaves));
    document.finish().map_err(|refused| PdfRefused(refused.to_string()))
}

/// Leaves are numbered in the order in which they are laid, but drawn page by page.
type Leaves = Vec<(usize, Identifier)>;

fn draw(surface: &mut Surface<'_>, op: &Op, leaves: &mut Leaves) {
    let leaf = match op {
        Op::Text { leaf, .. } | Op::Stroke { leaf, .. } => *leaf,
        Op::Fill { .. } => None,
    };
    let tag = match (op, leaf) {
        (Op::Text { .. }, Some(_)) => ContentTag::Span(SpanTag::empty()),
        (_, Some(_)) => ContentTag::Other,
        (Op::Text { .. }, None) => ContentTag::Artifact(Artifact::with_kind(ArtifactType::PaginationOther)),
        (_, None) => ContentTag::Artifact(Artifact::with_kind(ArtifactType::Layout)),
    };
    let identifier = surface.start_tagged(tag);
    match op {
        Op::Text { x, y, style, line, .. } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(style.ink)));
            let mut x = *x;
            for piece in &line.pieces {
                let Some(face) = FACES.get(piece.face) else { continue };
                let at = Point::from_xy(x, *y);
                surface.draw_glyphs(at, &piece.glyphs, face.font.clone(), &piece.text, style.size, false);
                x += piece.width * style.size;
            }
        }
        Op::Fill { area, ink } => {
            let mut builder = krilla::geom::PathBuilder::new();
            builder.push_rect(*area);
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*ink)));
            if let Some(path) = builder.finish() {
                surface.draw_path(&path);
            }
        }
        Op::Stroke { path, ink, width, .. } => {
            surface.set_fill(None);
            let (line_cap, line_join) = (LineCap::Round, LineJoin::Round);
            surface.set_stroke(Some(Stroke {
                paint: paint(*ink),
                width: *width,
                line_cap,
                line_join,
                ..Stroke::default()
            }));
            surface.draw_path(path);
        }
    }
    surface.end_tagged();
    leaves.extend(leaf.map(|leaf| (leaf, identifier)));
}

fn paint((red, green, blue): Ink) -> Paint {
    krilla::color::rgb::Color::new(red, green, blue).into()
}

fn fill(ink: Ink) -> Fill {
    Fill { paint: paint(ink), opacity: NormalizedF32::ONE, rule: krilla::paint::FillRule::default() }
}

fn outline(flow: &Flow<'_>) -> Outline {
    let mut outline = Outline::new();
    for mark in &flow.marks {
        let place = XyzDestination::new(mark.page, Point::from_xy(0.0, mark.y));
        outline.push_child(OutlineNode::new(mark.text.clone(), place));
    }
    outline
}

fn tree(flow: &Flow<'_>, leaves: Leaves) -> TagTree {
    let mut leaves: std::collections::HashMap<_, _> = leaves.into_iter().collect();
    let mut tree = TagTree::new().with_lang(Some(Language::spoken().code().to_owned()));
    for root in &flow.roots {
        tree.push(group(flow, *root, &mut leaves));
    }
    tree
}

fn group(flow: &Flow<'_>, index: usize, leaves: &mut std::collections::HashMap<usize, Identifier>) -> Node {
    let Some(of) = flow.groups.get(index) else { return Node::Group(TagGroup::new(krilla::tagging::Tag::NonStruct)) };
    let mut group_tag = TagGroup::new(of.tag.clone());
    for child in &of.children {
        match child {
            Child::Group(index) => group_tag.push(group(flow, *index, leaves)),
            Child::Leaf(leaf) => {
                if let Some(identifier) = leaves.remove(leaf) {
                    group_tag.push(identifier);
                }
            }
        }
    }
    Node::Group(group_tag)
}
