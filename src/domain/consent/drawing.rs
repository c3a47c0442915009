//! A drawn signature as strokes on a fixed grid. It is never required.

use std::fmt;
use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

/// A point on the grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Point {
    /// From the left, 0 to [`Drawing::WIDTH`].
    pub x: u16,
    /// From the top, 0 to [`Drawing::HEIGHT`].
    pub y: u16,
}

/// Strokes of a pen, in the order in which they were drawn.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Drawing(Vec<Vec<Point>>);

/// Why a text is not a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DrawingRefused {
    /// It has no stroke of two points.
    #[error("nothing was drawn")]
    Empty,
    /// It has more strokes or points than a signature.
    #[error("the drawing is too long")]
    TooLong,
    /// It is not strokes as `x,y x,y;x,y x,y` with whole numbers on the grid.
    #[error("the drawing can't be read")]
    Malformed,
}

impl Drawing {
    /// The width of the grid.
    pub const WIDTH: u16 = 1000;
    /// The height of the grid.
    pub const HEIGHT: u16 = 400;
    /// The most strokes.
    pub const STROKES_MAX: usize = 200;
    /// The most points in all strokes.
    pub const POINTS_MAX: usize = 5000;

    /// Reads strokes as `x,y x,y;x,y x,y`: points parted by a space, strokes by a semicolon.
    ///
    /// # Errors
    /// [`DrawingRefused`] says which limit was crossed.
    pub fn parse(text: &str) -> Result<Self, DrawingRefused> {
        // No point takes more than ten bytes with its separator.
        if text.len() > Self::POINTS_MAX * 10 {
            return Err(DrawingRefused::TooLong);
        }
        let mut strokes = Vec::new();
        let mut points = 0;
        for stroke in text.split(';').map(str::trim).filter(|stroke| !stroke.is_empty()) {
            let stroke: Vec<Point> =
                stroke.split_ascii_whitespace().map(point).collect::<Option<_>>().ok_or(DrawingRefused::Malformed)?;
            points += stroke.len();
            strokes.push(stroke);
            if strokes.len() > Self::STROKES_MAX || points > Self::POINTS_MAX {
                return Err(DrawingRefused::TooLong);
            }
        }
        if strokes.iter().any(|stroke| stroke.len() >= 2) { Ok(Self(strokes)) } else { Err(DrawingRefused::Empty) }
    }

    /// The strokes.
    pub fn strokes(&self) -> &[Vec<Point>] {
        &self.0
    }

    /// The text that [`Self::parse`] reads.
    pub fn text(&self) -> String {
        let mut text = String::new();
        for (number, stroke) in self.0.iter().enumerate() {
            for (at, Point { x, y }) in stroke.iter().enumerate() {
                let parting = if at > 0 {
                    " "
                } else if number > 0 {
                    ";"
                } else {
                    ""
                };
                // Writing to a String can't fail.
                let _ = write!(text, "{parting}{x},{y}");
            }
        }
        text
    }
}

fn point(text: &str) -> Option<Point> {
    let (x, y) = text.split_once(',')?;
    let digits = |number: &str| number.bytes().all(|byte| byte.is_ascii_digit());
    let (x, y) = (digits(x) && digits(y)).then_some((x, y))?;
    let point = Point { x: x.parse().ok()?, y: y.parse().ok()? };
    (point.x <= Drawing::WIDTH && point.y <= Drawing::HEIGHT).then_some(point)
}

impl TryFrom<String> for Drawing {
    type Error = DrawingRefused;
    fn try_from(text: String) -> Result<Self, DrawingRefused> {
        Self::parse(&text)
    }
}

impl From<Drawing> for String {
    fn from(drawing: Drawing) -> Self {
        drawing.text()
    }
}

impl fmt::Debug for Drawing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Drawing(..)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_read_back_as_themselves() {
        let text = "0,0 10,20 1000,400;5,5 6,6";
        let drawing = Drawing::parse(text).unwrap();
        assert_eq!(drawing.text(), text);
        assert_eq!(drawing.strokes().len(), 2);
        assert_eq!(Drawing::parse(" 1,2  3,4 ;; ").unwrap().text(), "1,2 3,4");
    }

    #[test]
    fn other_texts_are_refused() {
        for text in
            ["1001,0 1,1", "0,401 1,1", "-1,0 1,1", "+1,0 1,1", "1 2", "1,2,3 4,5", ",1 2,2", "a,b c,d", "<svg>"]
        {
            assert_eq!(Drawing::parse(text), Err(DrawingRefused::Malformed), "{text}");
        }
        for text in ["", ";;", "1,1", "1,1;2,2"] {
            assert_eq!(Drawing::parse(text), Err(DrawingRefused::Empty), "{text}");
        }
        let strokes = "1,1 2,2;".repeat(Drawing::STROKES_MAX + 1);
        assert_eq!(Drawing::parse(&strokes), Err(DrawingRefused::TooLong));
        let points = "1,1 ".repeat(Drawing::POINTS_MAX + 1);
        assert_eq!(Drawing::parse(&points), Err(DrawingRefused::TooLong));
        assert_eq!(Drawing::parse(&" ".repeat(1_000_000)), Err(DrawingRefused::TooLong));
    }

    #[test]
    fn a_signature_may_be_as_long_as_its_limits() {
        assert!(Drawing::parse(&"1,1 2,2;".repeat(Drawing::STROKES_MAX)).is_ok());
        for strokes in [Drawing::STROKES_MAX + 1, Drawing::STROKES_MAX + 5] {
            assert_eq!(Drawing::parse(&"1,1 2,2;".repeat(strokes)), Err(DrawingRefused::TooLong));
        }
        assert!(Drawing::parse(&"1000,400 ".repeat(Drawing::POINTS_MAX)).is_ok(), "also where each point is wide");
        let points = "1,1 ".repeat(Drawing::POINTS_MAX);
        assert_eq!(Drawing::parse(&points).unwrap().strokes()[0].len(), Drawing::POINTS_MAX);
        assert_eq!(Drawing::parse(&(points + "1,1")), Err(DrawingRefused::TooLong));
        let spaced = |length: usize| Drawing::parse(&format!("1,1 2,2{}", " ".repeat(length - 7)));
        assert!(spaced(50_000).is_ok());
        assert_eq!(spaced(50_001), Err(DrawingRefused::TooLong), "not even looked at");
    }

    #[test]
    fn a_signature_is_stored_as_its_strokes_and_shown_to_nobody_by_chance() {
        let drawing = Drawing::parse("1,2 3,4;5,6 7,8").unwrap();
        assert_eq!(serde_json::to_string(&drawing).unwrap(), "\"1,2 3,4;5,6 7,8\"");
        assert_eq!(format!("{drawing:?}"), "Drawing(..)");
    }
}
