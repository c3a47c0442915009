//! Where a source can be changed, and how: its mutants.

use std::collections::HashMap;
use std::ops::Range;

use anyhow::{Context, Result};
use proc_macro2::Span;
use syn::punctuated::Punctuated;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Attribute, BinOp, Block, Expr, Lit, Pat, ReturnType, Signature, Stmt, Token, UnOp};

use crate::values::{Instead, instead};

/// One change to the sources.
pub struct Mutant {
    pub path: String,
    pub line: usize,
    /// Where, what and in which line, with ` | ` between; it stays itself when code moves.
    pub name: String,
}

/// A place in a source, and the text that is put around or into it.
pub struct Site {
    pub range: Range<usize>,
    pub sort: Sort,
    /// Numbers of mutants, and the text of each.
    pub mutants: Vec<(usize, String)>,
}

pub enum Sort {
    /// An expression, which becomes one of several.
    Choice,
    /// The start of a function's body.
    Entry,
    /// A whole body that gives an iterator.
    Emptied,
    /// The end of the pattern of a match arm.
    Arm,
}

pub struct Found {
    pub sites: Vec<Site>,
    /// Places where a constant is computed, so that no switch can stand there.
    pub constant: usize,
}

/// Finds all sites in a source; `mutants` grows by theirs.
pub fn find(path: &str, text: &str, mutants: &mut Vec<Mutant>) -> Result<Found> {
    let file = syn::parse_file(text).with_context(|| path.to_owned())?;
    let mut finder = Finder {
        path,
        text,
        mutants,
        sites: Vec::new(),
        constant: 0,
        in_constant: false,
        owner: String::new(),
        function: String::new(),
        names: HashMap::new(),
    };
    finder.visit_file(&file);
    Ok(Found { sites: finder.sites, constant: finder.constant })
}

struct Finder<'a> {
    path: &'a str,
    text: &'a str,
    mutants: &'a mut Vec<Mutant>,
    sites: Vec<Site>,
    constant: usize,
    in_constant: bool,
    owner: String,
    function: String,
    names: HashMap<String, usize>,
}

impl Finder<'_> {
    fn source(&self, span: Span) -> &str {
        &self.text[span.byte_range()]
    }

    /// `changes` are what is done in words, and the text for it.
    fn add(&mut self, sort: Sort, range: Range<usize>, changes: Vec<(String, String)>) {
        if self.in_constant {
            self.constant += changes.len();
            return;
        }
        if changes.is_empty() {
            return;
        }
        let line = self.text[..range.start].matches('\n').count() + 1;
        let context = match sort {
            Sort::Entry | Sort::Emptied => String::new(),
            Sort::Choice | Sort::Arm => {
                format!(" in: {}", shortened(self.text.lines().nth(line - 1).unwrap_or_default()))
            }
        };
        let within = if self.owner.is_empty() || self.function.is_empty() { "" } else { "::" };
        let place = format!("{} | {}{within}{}", self.path, self.owner, self.function);
        let numbered = changes.into_iter().map(|(what, text)| {
            let mut name = format!("{place} | {what}{context}");
            let times = self.names.entry(name.clone()).or_default();
            *times += 1;
            if *times > 1 {
                name += &format!(" (no. {times})");
            }
            self.mutants.push(Mutant { path: self.path.to_owned(), line, name });
            (self.mutants.len() - 1, text)
        });
        let mutants = numbered.collect();
        self.sites.push(Site { range, sort, mutants });
    }

    fn choice(&mut self, span: Span, changes: Vec<(String, String)>) {
        self.add(Sort::Choice, span.byte_range(), changes);
    }

    fn function(
        &mut self,
        attributes: &[Attribute],
        signature: &Signature,
        block: &Block,
        visit: impl FnOnce(&mut Self),
    ) {
        if for_tests(attributes) {
            return;
        }
        let outer = std::mem::replace(&mut self.function, signature.ident.to_string());
        let constant = std::mem::replace(&mut self.in_constant, signature.constness.is_some());
        let inside = block.brace_token.span.open().byte_range().end..block.brace_token.span.close().byte_range().start;
        let body = squeezed(&self.text[inside.clone()]);
        match instead(&signature.output) {
            Instead::Values(values) => {
                let nothing = matches!(signature.output, ReturnType::Default);
                let changes = values.into_iter().filter(|value| *value != body && !(nothing && body.is_empty()));
                let changes = changes.map(|value| (format!("body becomes {value}"), format!("return {value};")));
                self.add(Sort::Entry, inside.start..inside.start, changes.collect());
            }
            Instead::Emptied => self.add(Sort::Emptied, inside, vec![("iterator becomes empty".into(), String::new())]),
        }
        visit(self);
        self.function = outer;
        self.in_constant = constant;
    }

    fn constant(&mut self, visit: impl FnOnce(&mut Self)) {
        let outer = std::mem::replace(&mut self.in_constant, true);
        visit(self);
        self.in_constant = outer;
    }

    fn binary(&mut self, node: &syn::ExprBinary) {
        if speaks_let(&node.left) || speaks_let(&node.right) {
            return;
        }
        let (left, op, right) =
            (self.source(node.left.span()), self.source(node.op.span()), self.source(node.right.span()));
        let changes = others(&node.op)
            .iter()
            .map(|other| (format!("{op} becomes {other}"), format!("({left}) {other} ({right})")))
            .collect();
        self.choice(node.span(), changes);
    }

    fn macro_call(&mut self, mac: &syn::Macro, span: Span, is_value: bool) {
        let Some(name) = mac.path.get_ident().map(ToString::to_string) else { return };
        match name.as_str() {
            "matches" if is_value => {
                let text = format!("!{}", self.source(span));
                self.choice(span, vec![("matches! is negated".into(), text)]);
            }
            "format" | "write" | "writeln" | "vec" => {
                let Ok(arguments) = mac.parse_body_with(Punctuated::<Expr, Token![,]>::parse_terminated) else {
                    return;
                };
                for argument in &arguments {
                    self.visit_expr(argument);
                }
            }
            _ => {}
        }
    }
}

impl<'ast> Visit<'ast> for Finder<'_> {
    fn visit_item_mod(&mut self, node: &'ast syn::ItemMod) {
        if !for_tests(&node.attrs) {
            visit::visit_item_mod(self, node);
        }
    }

    fn visit_item_impl(&mut self, node: &'ast syn::ItemImpl) {
        if for_tests(&node.attrs) {
            return;
        }
        let of = node.trait_.as_ref().and_then(|(_, path, _)| path.segments.last()).map(|last| last.ident.to_string());
        let name = squeezed(self.source(node.self_ty.span()));
        let owner = of.map_or_else(|| name.clone(), |of| format!("{of} for {name}"));
        let outer = std::mem::replace(&mut self.owner, owner);
        visit::visit_item_impl(self, node);
        self.owner = outer;
    }

    fn visit_item_trait(&mut self, node: &'ast syn::ItemTrait) {
        let outer = std::mem::replace(&mut self.owner, node.ident.to_string());
        visit::visit_item_trait(self, node);
        self.owner = outer;
    }

    fn visit_item_fn(&mut self, node: &'ast syn::ItemFn) {
        self.function(&node.attrs, &node.sig, &node.block, |this| visit::visit_block(this, &node.block));
    }

    fn visit_impl_item_fn(&mut self, node: &'ast syn::ImplItemFn) {
        self.function(&node.attrs, &node.sig, &node.block, |this| visit::visit_block(this, &node.block));
    }

    fn visit_trait_item_fn(&mut self, node: &'ast syn::TraitItemFn) {
        if let Some(block) = &node.default {
            self.function(&node.attrs, &node.sig, block, |this| visit::visit_block(this, block));
        }
    }

    fn visit_item_const(&mut self, node: &'ast syn::ItemConst) {
        self.constant(|this| this.visit_expr(&node.expr));
    }

    fn visit_impl_item_const(&mut self, node: &'ast syn::ImplItemConst) {
        self.constant(|this| this.visit_expr(&node.expr));
    }

    fn visit_item_static(&mut self, node: &'ast syn::ItemStatic) {
        self.constant(|this| this.visit_expr(&node.expr));
    }

    fn visit_expr_const(&mut self, node: &'ast syn::ExprConst) {
        self.constant(|this| visit::visit_expr_const(this, node));
    }

    fn visit_expr_closure(&mut self, node: &'ast syn::ExprClosure) {
        // Made in a constant, it still runs later.
        let outer = std::mem::replace(&mut self.in_constant, false);
        self.visit_expr(&node.body);
        self.in_constant = outer;
    }

    fn visit_expr_repeat(&mut self, node: &'ast syn::ExprRepeat) {
        self.visit_expr(&node.expr);
    }

    fn visit_expr_binary(&mut self, node: &'ast syn::ExprBinary) {
        self.binary(node);
        visit::visit_expr_binary(self, node);
    }

    fn visit_expr_unary(&mut self, node: &'ast syn::ExprUnary) {
        let sign = match node.op {
            UnOp::Not(_) => "!",
            UnOp::Neg(_) => "-",
            _ => "",
        };
        if !sign.is_empty() {
            let text = format!("({})", self.source(node.expr.span()));
            self.choice(node.span(), vec![(format!("{sign} is left out"), text)]);
        }
        visit::visit_expr_unary(self, node);
    }

    fn visit_expr_lit(&mut self, node: &'ast syn::ExprLit) {
        let Lit::Int(number) = &node.lit else { return };
        let Ok(value) = number.base10_parse::<u128>() else { return };
        let more = format!("{}{}", value + 1, number.suffix());
        self.choice(node.span(), vec![(format!("{} becomes {more}", self.source(number.span())), more)]);
    }

    fn visit_expr_match(&mut self, node: &'ast syn::ExprMatch) {
        let falls = |pat: &Pat| match pat {
            Pat::Wild(_) => true,
            Pat::Ident(pat) => pat.subpat.is_none() && pat.ident.to_string().starts_with(char::is_lowercase),
            _ => false,
        };
        let last = node.arms.iter().rposition(|arm| arm.guard.is_none() && falls(&arm.pat)).unwrap_or(0);
        for (at, arm) in node.arms.iter().enumerate() {
            if let Some((_, guard)) = &arm.guard
                && !speaks_let(guard)
            {
                let asked = shortened(self.source(guard.span()));
                let changes =
                    ["true", "false"].map(|value| (format!("guard {asked} becomes {value}"), value.to_owned()));
                self.choice(guard.span(), changes.into());
            } else if at < last {
                let end = arm.pat.span().byte_range().end;
                let what = format!("arm {} is left out", shortened(self.source(arm.pat.span())));
                self.add(Sort::Arm, end..end, vec![(what, String::new())]);
            }
        }
        visit::visit_expr_match(self, node);
    }

    fn visit_expr_macro(&mut self, node: &'ast syn::ExprMacro) {
        self.macro_call(&node.mac, node.span(), true);
    }

    fn visit_stmt(&mut self, node: &'ast Stmt) {
        if let Stmt::Macro(node) = node {
            self.macro_call(&node.mac, node.mac.span(), node.semi_token.is_none());
        } else {
            visit::visit_stmt(self, node);
        }
    }

    // Constants of a kind that no switch can stand in, and nothing that runs.
    fn visit_pat(&mut self, _: &'ast Pat) {}
    fn visit_type(&mut self, _: &'ast syn::Type) {}
    fn visit_generic_argument(&mut self, _: &'ast syn::GenericArgument) {}
    fn visit_attribute(&mut self, _: &'ast Attribute) {}
    fn visit_variant(&mut self, _: &'ast syn::Variant) {}
}

fn for_tests(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("test")
            || attribute.path().is_ident("cfg")
                && attribute.parse_args::<syn::Path>().is_ok_and(|path| path.is_ident("test"))
    })
}

/// Whether `let` stands in a chain of conditions, which can't be taken into an expression of its own.
fn speaks_let(expr: &Expr) -> bool {
    match expr {
        Expr::Let(_) => true,
        Expr::Binary(expr) => matches!(expr.op, BinOp::And(_)) && (speaks_let(&expr.left) || speaks_let(&expr.right)),
        _ => false,
    }
}

fn others(op: &BinOp) -> &'static [&'static str] {
    match op {
        BinOp::Add(_) => &["-", "*"],
        BinOp::Sub(_) => &["+", "/"],
        BinOp::Mul(_) => &["+", "/"],
        BinOp::Div(_) => &["%", "*"],
        BinOp::Rem(_) => &["/", "+"],
        BinOp::And(_) => &["||"],
        BinOp::Or(_) => &["&&"],
        BinOp::BitXor(_) => &["|", "&"],
        BinOp::BitAnd(_) => &["|", "^"],
        BinOp::BitOr(_) => &["&", "^"],
        BinOp::Shl(_) => &[">>"],
        BinOp::Shr(_) => &["<<"],
        BinOp::Eq(_) => &["!="],
        BinOp::Ne(_) => &["=="],
        BinOp::Lt(_) => &["<=", "==", ">"],
        BinOp::Le(_) => &["<", ">"],
        BinOp::Gt(_) => &[">=", "==", "<"],
        BinOp::Ge(_) => &[">", "<"],
        BinOp::AddAssign(_) => &["-=", "*="],
        BinOp::SubAssign(_) => &["+=", "/="],
        BinOp::MulAssign(_) => &["+=", "/="],
        BinOp::DivAssign(_) => &["%=", "*="],
        BinOp::RemAssign(_) => &["/=", "+="],
        BinOp::BitAndAssign(_) => &["|="],
        BinOp::BitOrAssign(_) => &["&="],
        BinOp::BitXorAssign(_) => &["|=", "&="],
        _ => &[],
    }
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn shortened(text: &str) -> String {
    let text = squeezed(text);
    if text.chars().count() <= 90 { text } else { text.chars().take(89).chain(['…']).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(text: &str) -> (Vec<String>, usize) {
        let mut mutants = Vec::new();
        let found = find("src/a.rs", text, &mut mutants).unwrap();
        let names = mutants.into_iter().map(|mutant| mutant.name.trim_start_matches("src/a.rs | ").to_owned());
        (names.collect(), found.constant)
    }

    #[test]
    fn every_sort_of_change_is_found_once() {
        let text = "impl Age {\n    fn may(&self, n: u8) -> bool {\n        !self.old && n < 3\n    }\n}\n";
        let line = "in: !self.old && n < 3";
        let wanted = [
            "body becomes true".to_owned(),
            "body becomes false".to_owned(),
            format!("&& becomes || {line}"),
            format!("! is left out {line}"),
            format!("< becomes <= {line}"),
            format!("< becomes == {line}"),
            format!("< becomes > {line}"),
            format!("3 becomes 4 {line}"),
        ];
        assert_eq!(names(text).0, wanted.map(|what| format!("Age::may | {what}")));
    }

    #[test]
    fn arms_and_guards_are_changed_where_another_arm_follows() {
        let text = "fn f(n: T) { match n {\n A if g => {}\n B => {}\n _ => {}\n C => {} } }";
        let wanted =
            ["body becomes ", "guard g becomes true in: A if g => {}", "guard g becomes false in: A if g => {}"];
        let found = names(text).0;
        assert_eq!(found[..3], wanted.map(|what| format!("f | {what}")));
        assert_eq!(found[3..], ["f | arm B is left out in: B => {}"]);
    }

    #[test]
    fn constants_chains_of_let_and_tests_are_left_alone() {
        let text = "const A: u8 = 1 + 2;\nfn f() { if let Some(x) = a && b {} g([0; 4]) }\n\
            #[cfg(test)] mod tests { fn f() -> u8 { 1 + 1 } }\n#[test] fn t() { a == b; }";
        assert_eq!(
            names(text),
            (
                vec![
                    "f | body becomes ".to_owned(),
                    "f | 0 becomes 1 in: fn f() { if let Some(x) = a && b {} g([0; 4]) }".to_owned()
                ],
                4
            )
        );
    }
}
