//! Colours and sizes.

/// A colour as red, green, blue.
pub(super) type Ink = (u8, u8, u8);
/// Body text.
pub(super) const INK: Ink = (33, 37, 41);
/// Labels and small print; 5.9:1 on white.
pub(super) const MUTED: Ink = (92, 99, 107);
/// Headings.
pub(super) const ACCENT: Ink = (32, 78, 84);
/// Behind what must not be overlooked.
pub(super) const PANEL: Ink = (245, 241, 231);
pub(super) const PANEL_EDGE: Ink = (176, 128, 44);
pub(super) const HAIRLINE: Ink = (214, 218, 222);

/// How a text looks.
#[derive(Clone, Copy)]
pub(super) struct Style {
    pub(super) size: f32,
    pub(super) bold: bool,
    pub(super) ink: Ink,
}

/// Body text.
pub(super) const BODY: Style = Style { size: 9.2, bold: false, ink: INK };
/// Body text that stands out.
pub(super) const STRONG: Style = Style { bold: true, ..BODY };
/// Long tables.
pub(super) const DENSE: Style = Style { size: 7.8, ..BODY };
/// Small print.
pub(super) const SMALL: Style = Style { size: 7.8, bold: false, ink: MUTED };
pub(super) const LABELS: Style = Style { ink: MUTED, ..BODY };
