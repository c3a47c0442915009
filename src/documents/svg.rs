//! Pictures as accessible SVG, each with the rows of the table that stands beneath it.
//!
//! A picture has a title and a description, carries its meaning in words, dashes and places rather
//! than in colour, and has no style attribute, which the content security policy would drop. It draws
//! in `currentColor`; classes let a style sheet do more.

mod code;
mod comparison;
mod forecast;
mod over_time;
mod reach;

pub use code::for_cameras;
pub use comparison::{Candidate, CandidateRow, compare_rules};
pub use forecast::{WeekBar, openings};
pub use over_time::{Belief, Mark, ShareInput, ShareRow, share_over_time};
pub use reach::{ReachRow, reach_on_shield};

use std::fmt::{self, Display, Write as _};

/// A picture and its numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture<Row> {
    /// A whole `<svg>` element, safe to place in a page.
    pub svg: String,
    /// What it shows, as the rows of a table.
    pub rows: Vec<Row>,
}

/// Text made safe for SVG content and attributes.
struct Escaped<'a>(&'a str);

impl Display for Escaped<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for letter in self.0.chars() {
            match letter {
                '&' => f.write_str("&amp;")?,
                '<' => f.write_str("&lt;")?,
                '>' => f.write_str("&gt;")?,
                '"' => f.write_str("&quot;")?,
                '\'' => f.write_str("&#39;")?,
                // XML 1.0 has no place for other control characters.
                '\t' | '\n' => f.write_char(letter)?,
                _ if letter.is_control() => f.write_char(' ')?,
                _ => f.write_char(letter)?,
            }
        }
        Ok(())
    }
}

/// Where a line of text is held.
#[derive(Debug, Clone, Copy)]
enum Anchor {
    Start,
    Middle,
    End,
}

/// A drawing in the making. Writing to a string cannot fail, so what `write!` returns is dropped in
/// one place.
struct Canvas {
    body: String,
    width: f64,
    height: f64,
}

impl Canvas {
    fn new(width: f64, height: f64) -> Self {
        Self { body: String::new(), width, height }
    }

    fn put(&mut self, element: fmt::Arguments<'_>) {
        let _ = self.body.write_fmt(element);
        self.body.push('\n');
    }

    /// A line; `dashes` as in `stroke-dasharray`, empty for a full one.
    fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64), width: f64, dashes: &str) {
        let ((x1, y1), (x2, y2)) = (from, to);
        let dashes = if dashes.is_empty() { String::new() } else { format!(r#" stroke-dasharray="{dashes}""#) };
        self.put(format_args!(
            r#"<line class="{class}" x1="{x1:.1}" y1="{y1:.1}" x2="{x2:.1}" y2="{y2:.1}" stroke="currentColor" stroke-width="{width}"{dashes}/>"#
        ));
    }

    fn text(&mut self, class: &str, (x, y): (f64, f64), anchor: Anchor, words: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        self.put(format_args!(
            r#"<text class="{class}" x="{x:.1}" y="{y:.1}" text-anchor="{anchor}" fill="currentColor">{}</text>"#,
            Escaped(words)
        ));
    }

    fn rect(&mut self, class: &str, (x, y): (f64, f64), (width, height): (f64, f64), opacity: f64) {
        self.put(format_args!(
            r#"<rect class="{class}" x="{x:.1}" y="{y:.1}" width="{width:.1}" height="{height:.1}" fill="currentColor" fill-opacity="{opacity}" stroke="currentColor" stroke-width="0.5"/>"#
        ));
    }

    fn curve(&mut self, class: &str, points: &[(f64, f64)], width: f64) {
        let points = points_attribute(points.iter());
        self.put(format_args!(
            r#"<polyline class="{class}" points="{points}" fill="none" stroke="currentColor" stroke-width="{width}"/>"#
        ));
    }

    /// The area between two curves over the same abscissae.
    fn band(&mut self, class: &str, upper: &[(f64, f64)], lower: &[(f64, f64)]) {
        let points = points_attribute(upper.iter().chain(lower.iter().rev()));
        self.put(format_args!(
            r#"<polygon class="{class}" points="{points}" fill="currentColor" fill-opacity="0.15" stroke="currentColor" stroke-width="0.5" stroke-dasharray="1 2"/>"#
        ));
    }

    /// The whole element. `id` tells the pictures of one page apart.
    fn finish(self, id: &str, title: &str, description: &str) -> String {
        let (id, title, description) = (Escaped(id), Escaped(title), Escaped(description));
        let Self { body, width, height } = self;
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" class="picture" viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" aria-labelledby="{id}-title {id}-description" font-family="sans-serif" font-size="13">
<title id="{id}-title">{title}</title>
<desc id="{id}-description">{description}</desc>
{body}</svg>
"#
        )
    }
}

fn points_attribute<'a>(points: impl Iterator<Item = &'a (f64, f64)>) -> String {
    points.fold(String::new(), |mut all, (x, y)| {
        let _ = write!(all, "{}{x:.1},{y:.1}", if all.is_empty() { "" } else { " " });
        all
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cannot_leave_its_element() {
        let escaped = Escaped("<b a='1' c=\"2\">&\u{1}").to_string();
        assert_eq!(escaped, "&lt;b a=&#39;1&#39; c=&quot;2&quot;&gt;&amp; ");
    }
}
