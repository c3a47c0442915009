//! Lays blocks down a stack of pages, and keeps the tree of what each thing is.

use krilla::geom::{Path, PathBuilder, Rect};
use krilla::tagging::{TableHeaderScope, Tag, TagKind};

use super::style::{ACCENT, BODY, HAIRLINE, INK, Ink, LABELS, MUTED, PANEL, PANEL_EDGE, SMALL, Style};
use super::text::{Line, Typesetter};
use crate::documents::record::Drawing;
use crate::tf;
use std::sync::Arc;

/// A4, in points.
pub(super) const PAGE: (f32, f32) = (595.28, 841.89);
const LEFT: f32 = 62.0;
const TOP: f32 = 60.0;
const BOTTOM: f32 = 770.0;
/// The width between the margins.
pub(super) const WIDTH: f32 = PAGE.0 - 2.0 * LEFT;
const LEADING: f32 = 1.42;
const LABEL: f32 = 128.0;

/// Something to draw on a page. `leaf` is its number in the tree; what has none is an ornament.
pub(super) enum Op {
    Text { x: f32, y: f32, style: Style, line: Arc<Line>, leaf: Option<usize> },
    Fill { area: Rect, ink: Ink },
    Stroke { path: Path, ink: Ink, width: f32, leaf: Option<usize> },
}

/// A child of a group in the tree.
pub(super) enum Child {
    Group(usize),
    Leaf(usize),
}

/// What a part of the document is, and what it holds in reading order.
pub(super) struct Group {
    pub(super) tag: TagKind,
    pub(super) children: Vec<Child>,
}

/// A place for the table of contents.
pub(super) struct Mark {
    pub(super) text: String,
    pub(super) page: usize,
    pub(super) y: f32,
}

/// The document while it grows.
pub(super) struct Flow<'t> {
    pub(super) pages: Vec<Vec<Op>>,
    pub(super) groups: Vec<Group>,
    pub(super) roots: Vec<usize>,
    pub(super) marks: Vec<Mark>,
    open: Vec<usize>,
    leaves: usize,
    y: f32,
    typesetter: &'t mut Typesetter,
}

/// The words of a table's header, and left edge and width of each column.
type Header<'a> = (&'a [&'a str], &'a [(f32, f32)]);

struct Cell {
    lines: Vec<Arc<Line>>,
    style: Style,
    x: f32,
    tag: TagKind,
}

impl<'t> Flow<'t> {
    pub(super) fn new(typesetter: &'t mut Typesetter) -> Self {
        Self {
            pages: Vec::new(),
            groups: Vec::new(),
            roots: Vec::new(),
            marks: Vec::new(),
            open: Vec::new(),
            leaves: 0,
            y: 0.0,
            typesetter,
        }
    }

    /// Lines of a text, for a width in points.
    pub(super) fn set(&mut self, text: &str, style: Style, width: f32) -> Vec<Arc<Line>> {
        self.typesetter.lines(text, style.bold, width / style.size)
    }

    fn open(&mut self, tag: impl Into<TagKind>) {
        let index = self.groups.len();
        self.groups.push(Group { tag: tag.into(), children: Vec::new() });
        match self.open.last().and_then(|parent| self.groups.get_mut(*parent)) {
            Some(parent) => parent.children.push(Child::Group(index)),
            None => self.roots.push(index),
        }
        self.open.push(index);
    }

    fn close(&mut self) {
        self.open.pop();
    }

    fn leaf(&mut self) -> Option<usize> {
        let leaf = self.leaves;
        self.leaves += 1;
        self.open.last().and_then(|group| self.groups.get_mut(*group))?.children.push(Child::Leaf(leaf));
        Some(leaf)
    }

    fn put(&mut self, op: Op) {
        if self.pages.is_empty() {
            self.new_page();
        }
        if let Some(page) = self.pages.last_mut() {
            page.push(op);
        }
    }

    fn new_page(&mut self) {
        self.pages.push(Vec::new());
        self.y = TOP;
    }

    /// Goes to the next page unless so much room is left on this one.
    pub(super) fn need(&mut self, height: f32) {
        if self.pages.is_empty() || (self.y + height > BOTTOM && self.y > TOP) {
            self.new_page();
        }
    }

    /// Leaves a gap, except at the top of a page.
    pub(super) fn gap(&mut self, height: f32) {
        if self.y > TOP {
            self.y += height;
        }
    }

    fn text_line(&mut self, line: Arc<Line>, style: Style, x: f32, width: f32) {
        let advance = style.size * LEADING;
        self.need(advance);
        let leaf = self.leaf();
        let y = self.y + style.size * 1.08;
        let x = if line.rtl { x + (width - line.width * style.size).max(0.0) } else { x };
        self.put(Op::Text { x, y, style, line, leaf });
        self.y += advance;
    }

    fn block(&mut self, tag: impl Into<TagKind>, text: &str, style: Style) {
        self.open(tag);
        for line in self.set(text, style, WIDTH) {
            self.text_line(line, style, LEFT, WIDTH);
        }
        self.close();
    }

    /// A heading of level 1, 2 or 3, kept together with what follows.
    pub(super) fn heading(&mut self, level: u16, text: &str) {
        let (size, before, after, room, ink) = match level {
            1 => (22.0, 0.0, 4.0, 0.0, ACCENT),
            2 => (13.0, 20.0, 6.0, 90.0, ACCENT),
            _ => (9.8, 11.0, 3.0, 62.0, INK),
        };
        self.need(before + room);
        self.gap(before);
        let style = Style { size, bold: true, ink };
        let mark = Mark { text: text.to_owned(), page: self.pages.len().saturating_sub(1), y: self.y };
        if level <= 2 {
            self.marks.push(mark);
        }
        let level = std::num::NonZeroU16::new(level).unwrap_or(std::num::NonZeroU16::MIN);
        self.block(Tag::Hn(level, Some(text.to_owned())), text, style);
        if level.get() == 2 {
            self.y += 2.0;
            self.rule(self.y, HAIRLINE, 0.8);
        }
        self.y += after;
    }

    /// A paragraph, or one for each line of the text.
    pub(super) fn para(&mut self, text: &str, style: Style) {
        self.block(Tag::P, text, style);
        self.y += 3.0;
    }

    /// A text that must not be overlooked, on a tinted ground.
    pub(super) fn panel(&mut self, text: &str) {
        let inset = 11.0;
        let lines = self.set(text, BODY, WIDTH - 2.0 * inset);
        let advance = BODY.size * LEADING;
        let height = lines.iter().fold(2.0 * 7.0, |height, _| height + advance);
        self.need(height.min(BOTTOM - TOP));
        self.fill(LEFT, self.y, WIDTH, height, PANEL);
        self.fill(LEFT, self.y, 2.4, height, PANEL_EDGE);
        self.y += 7.0;
        self.open(Tag::P);
        for line in lines {
            self.text_line(line, BODY, LEFT + inset, WIDTH - 2.0 * inset);
        }
        self.close();
        self.y += 7.0 + 5.0;
    }

    /// Labels with their values; a pair without a value is left out.
    pub(super) fn facts(&mut self, title: &str, facts: &[(&str, String)]) {
        let facts: Vec<_> = facts.iter().filter(|(_, value)| !value.is_empty()).collect();
        if facts.is_empty() {
            return;
        }
        self.open(Tag::Table.with_summary(Some(title.to_owned())));
        for (label, value) in facts {
            let label = self.cell(label, LABELS, LEFT, LABEL - 10.0, Tag::TH(TableHeaderScope::Row).into());
            let value = self.cell(value, BODY, LEFT + LABEL, WIDTH - LABEL, Tag::TD.into());
            self.row(vec![label, value], 1.1, None);
        }
        self.close();
        self.y += 4.0;
    }

    /// A table; `shares` are the widths of its columns as parts of the whole. The header comes again on each page.
    pub(super) fn table(&mut self, title: &str, header: &[&str], shares: &[f32], rows: &[Vec<String>]) {
        self.table_in(BODY, title, header, shares, rows);
    }

    /// [`Self::table`] in another style.
    pub(super) fn table_in(
        &mut self,
        style: Style,
        title: &str,
        header: &[&str],
        shares: &[f32],
        rows: &[Vec<String>],
    ) {
        self.open(Tag::Table.with_summary(Some(title.to_owned())));
        self.need(60.0);
        let columns = columns(shares);
        self.header(header, &columns, true);
        for row in rows {
            let cells = row.iter().zip(&columns).map(|(text, (x, width))| (text.as_str(), *x, *width));
            let cells = cells.collect::<Vec<_>>();
            let cells = cells.into_iter().map(|(text, x, width)| self.cell(text, style, x, width, Tag::TD.into()));
            let cells = cells.collect();
            self.row(cells, 2.6, Some((header, &columns)));
            self.rule(self.y, HAIRLINE, 0.4);
        }
        self.close();
        self.y += 6.0;
    }

    fn header(&mut self, header: &[&str], columns: &[(f32, f32)], first: bool) {
        let style = Style { bold: true, ..SMALL };
        let tag = Tag::TH(TableHeaderScope::Column);
        let cells: Vec<_> = header
            .iter()
            .zip(columns)
            .map(|(text, (x, width))| self.cell(text, style, *x, *width, tag.clone().into()))
            .collect();
        if first {
            self.row(cells, 2.0, None);
        } else {
            let mut height: f32 = 0.0;
            for cell in cells {
                let mut y = self.y + 2.0;
                for line in cell.lines {
                    self.put(Op::Text { x: cell.x, y: y + style.size * 1.08, style, line, leaf: None });
                    y += style.size * LEADING;
                }
                height = height.max(y - self.y + 2.0);
            }
            self.y += height;
        }
        self.rule(self.y, MUTED, 0.6);
    }

    fn cell(&mut self, text: &str, style: Style, x: f32, width: f32, tag: TagKind) -> Cell {
        Cell { lines: self.set(text, style, width), style, x, tag }
    }

    /// Draws a row, whole where a page can hold it, else line by line over as many pages as it takes.
    fn row(&mut self, cells: Vec<Cell>, pad: f32, again: Option<Header<'_>>) {
        let advance = cells.iter().map(|cell| cell.style.size * LEADING).fold(0.0, f32::max);
        let count = cells.iter().map(|cell| cell.lines.len()).max().unwrap_or(0);
        let height = (0..count).fold(2.0 * pad, |height, _| height + advance);
        let break_if = |flow: &mut Self, height: f32| {
            let pages = flow.pages.len();
            flow.need(height);
            if let (true, Some((header, columns))) = (flow.pages.len() > pages, again) {
                flow.header(header, columns, false);
            }
        };
        break_if(self, if height < (BOTTOM - TOP) * 0.6 { height } else { advance + 2.0 * pad });
        self.y += pad;
        self.open(Tag::TR);
        let groups: Vec<usize> = cells
            .iter()
            .map(|cell| {
                self.open(cell.tag.clone());
                self.close();
                self.groups.len() - 1
            })
            .collect();
        let mut columns: Vec<_> = cells.into_iter().map(|cell| (cell.lines.into_iter(), cell.style, cell.x)).collect();
        for _ in 0..count {
            break_if(self, advance);
            for ((lines, style, x), group) in columns.iter_mut().zip(&groups) {
                let Some(line) = lines.next() else { continue };
                self.open.push(*group);
                let leaf = self.leaf();
                self.close();
                self.put(Op::Text { x: *x, y: self.y + style.size * 1.08, style: *style, line, leaf });
            }
            self.y += advance;
        }
        self.close();
        self.y += pad;
    }

    /// A signature as it was drawn, in a box of its own shape.
    pub(super) fn signature(&mut self, drawing: &Drawing, alt: &str) {
        let (wide, high) = (f32::from(drawing.width.max(1)), f32::from(drawing.height.max(1)));
        let scale = (210.0 / wide).min(72.0 / high);
        self.need(high * scale + 12.0);
        let point = |(x, y): &(u16, u16)| {
            let inside = |value: u16, limit: f32| f32::from(value).min(limit) * scale;
            (LEFT + LABEL + inside(*x, wide), self.y + inside(*y, high))
        };
        let mut builder = PathBuilder::new();
        for stroke in &drawing.strokes {
            let mut points = stroke.iter().map(point);
            let Some((x, y)) = points.next() else { continue };
            builder.move_to(x, y);
            // A tap is a stroke of one point: a short line makes it a dot.
            let rest: Vec<_> = points.collect();
            for (x, y) in if rest.is_empty() { vec![(x + 0.4, y)] } else { rest } {
                builder.line_to(x, y);
            }
        }
        self.open(Tag::Figure(Some(alt.to_owned())));
        if let Some(path) = builder.finish() {
            let leaf = self.leaf();
            self.put(Op::Stroke { path, ink: INK, width: 1.1, leaf });
        }
        self.close();
        self.y += high * scale + 2.0;
        self.line(LEFT + LABEL, self.y, 210.0, MUTED, 0.5);
        self.y += 8.0;
    }

    fn fill(&mut self, x: f32, y: f32, width: f32, height: f32, ink: Ink) {
        if let Some(area) = Rect::from_xywh(x, y, width, height.min(BOTTOM + 20.0 - y)) {
            self.put(Op::Fill { area, ink });
        }
    }

    fn rule(&mut self, y: f32, ink: Ink, width: f32) {
        self.line(LEFT, y, WIDTH, ink, width);
    }

    fn line(&mut self, x: f32, y: f32, length: f32, ink: Ink, width: f32) {
        let mut builder = PathBuilder::new();
        builder.move_to(x, y);
        builder.line_to(x + length, y);
        if let Some(path) = builder.finish() {
            self.put(Op::Stroke { path, ink, width, leaf: None });
        }
    }

    /// Writes the foot of each page: a text on the left, "page n of m" on the right.
    pub(super) fn foot(&mut self, text: &str) {
        let count = self.pages.len();
        for index in 0..count {
            let number = tf("page {n} of {count}").with("n", index + 1).with("count", count).to_string();
            let right = self.set(&number, SMALL, 120.0);
            let left = self.set(text, SMALL, WIDTH - 90.0);
            let Some(page) = self.pages.get_mut(index) else { continue };
            for (line, at_right) in
                left.into_iter().take(1).map(|l| (l, false)).chain(right.into_iter().map(|l| (l, true)))
            {
                let x = if at_right { LEFT + WIDTH - line.width * SMALL.size } else { LEFT };
                page.push(Op::Text { x, y: 805.0, style: SMALL, line, leaf: None });
            }
        }
    }
}

/// Left edge and usable width of each column.
fn columns(shares: &[f32]) -> Vec<(f32, f32)> {
    let whole: f32 = shares.iter().sum();
    let mut x = LEFT;
    let column = |share: &f32| {
        let (left, width) = (x, WIDTH * share / whole);
        x += width;
        (left, width - 9.0)
    };
    shares.iter().map(column).collect()
}
