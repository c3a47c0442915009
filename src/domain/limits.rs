//! Ingredients that rules speak of.

use serde::{Deserialize, Serialize};

/// An ingredient that the product register flags.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ingredient {
    /// Thioglycolic acid and its salts.
    Thioglycolate,
    /// Esters of thioglycolic acid, such as glyceryl thioglycolate.
    ThioglycolateEster,
    /// Cysteamine.
    Cysteamine,
    /// p-Phenylenediamine and its salts.
    Phenylenediamine,
    /// Toluene-2,5-diamine and its sulphate.
    Toluenediamine,
    /// Resorcinol.
    Resorcinol,
    /// Silver nitrate.
    SilverNitrate,
    /// Hydrogen peroxide, present or released.
    Peroxide,
    /// Cyanoacrylate.
    Cyanoacrylate,
    /// Latex.
    Latex,
}
