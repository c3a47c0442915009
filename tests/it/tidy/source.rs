//! Rust source as the tidy rules see it: code without comments and literals, the literals apart, and every path named.

/// A Rust file taken apart; both texts keep the line breaks of the original.
pub(crate) struct Source {
    /// The code with comments and the insides of literals blanked.
    pub(crate) code: String,
    /// The string literals with the line each starts on, counted from 1.
    pub(crate) strings: Vec<(usize, String)>,
}

/// Takes a file apart.
pub(crate) fn read(text: &str) -> Source {
    let chars: Vec<char> = text.chars().collect();
    let mut code = String::new();
    let mut strings = Vec::new();
    let mut at = 0;
    while at < chars.len() {
        let rest = &chars[at..];
        let len = match rest {
            ['/', '/', ..] => rest.iter().position(|c| *c == '\n').unwrap_or(rest.len()),
            ['/', '*', ..] => block_comment(rest),
            _ => match literal(rest, at.checked_sub(1).map(|before| chars[before])) {
                Some((len, inside)) => {
                    if let Some(inside) = inside {
                        strings.push((line_of(&code), inside));
                    }
                    len
                }
                None => {
                    code.push(rest[0]);
                    at += 1;
                    continue;
                }
            },
        };
        code.extend(rest[..len].iter().map(|c| if *c == '\n' { '\n' } else { ' ' }));
        at += len;
    }
    Source { code, strings }
}

/// The line, counted from 1, on which text that follows `before` starts.
pub(crate) fn line_of(before: &str) -> usize {
    before.matches('\n').count() + 1
}

fn block_comment(rest: &[char]) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < rest.len() {
        match &rest[at..] {
            ['/', '*', ..] => (depth, at) = (depth + 1, at + 2),
            ['*', '/', ..] => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
        if depth == 0 {
            break;
        }
    }
    at
}

/// The length of the string or character literal that starts here, and what a string holds; `None` for anything else.
fn literal(rest: &[char], before: Option<char>) -> Option<(usize, Option<String>)> {
    if rest[0] == '"' {
        let len = escaped_end(rest, '"');
        return Some((len, Some(rest[1..len.max(2) - 1].iter().collect())));
    }
    if rest[0] == '\'' {
        // A quote that no quote closes after one character or one escape starts a lifetime.
        return match rest {
            ['\'', '\\', ..] => Some((escaped_end(rest, '\''), None)),
            ['\'', _, '\'', ..] => Some((3, None)),
            _ => None,
        };
    }
    if rest[0] == 'r' && !before.is_some_and(|c| c.is_alphanumeric() && c != 'b' && c != 'c' || c == '_') {
        let hashes = rest[1..].iter().take_while(|c| **c == '#').count();
        if rest.get(1 + hashes) == Some(&'"') {
            let body = &rest[2 + hashes..];
            let close: Vec<char> = std::iter::once('"').chain(std::iter::repeat_n('#', hashes)).collect();
            let end = body.windows(close.len()).position(|w| w == close).unwrap_or(body.len());
            return Some(((2 + hashes + end + close.len()).min(rest.len()), Some(body[..end].iter().collect())));
        }
    }
    None
}

fn escaped_end(rest: &[char], close: char) -> usize {
    let mut at = 1;
    while at < rest.len() && rest[at] != close {
        at += if rest[at] == '\\' { 2 } else { 1 };
    }
    (at + 1).min(rest.len())
}

/// The code without its `#[cfg(test)]` items; lines that go leave nothing behind.
pub(crate) fn without_tests(code: &str) -> String {
    let mut kept = String::new();
    let mut rest = code;
    while let Some(start) = rest.find("#[cfg(test)]") {
        kept.push_str(&rest[..start]);
        rest = &rest[start..];
        let mut depth = 0_usize;
        let end = rest.char_indices().find_map(|(at, c)| {
            match c {
                '{' => depth += 1,
                '}' => depth = depth.saturating_sub(1),
                _ => {}
            }
            (depth == 0 && (c == '}' || c == ';')).then_some(at + 1)
        });
        rest = &rest[end.unwrap_or(rest.len())..];
        rest = rest.strip_prefix('\n').unwrap_or(rest);
    }
    kept + rest
}

/// Every path that the code names, `use` trees spread out, with its line.
pub(crate) fn paths(code: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    let chars: Vec<char> = code.chars().collect();
    let (mut at, mut line) = (0, 1);
    walk(&chars, &mut at, &mut line, "", false, &mut found);
    found
}

/// Reads names joined by `::` up to the end of the text or, inside a `use` tree, up to the brace that closes it.
fn walk(chars: &[char], at: &mut usize, line: &mut usize, prefix: &str, tree: bool, found: &mut Vec<(usize, String)>) {
    let mut path = prefix.to_owned();
    let mut open = true; // whether a name that comes now continues the path
    while *at < chars.len() {
        let c = chars[*at];
        *at += 1;
        if c == '\n' {
            *line += 1;
        }
        if c.is_alphanumeric() || c == '_' {
            let start = *at - 1;
            while chars.get(*at).is_some_and(|c| c.is_alphanumeric() || *c == '_') {
                *at += 1;
            }
            let name: String = chars[start..*at].iter().collect();
            if name == "as" && tree {
                // The new name is no path.
                while chars.get(*at).is_some_and(|c| c.is_alphanumeric() || *c == '_' || *c == ' ') {
                    *at += 1;
                }
                continue;
            }
            path = match (open, path.is_empty()) {
                (true, false) => format!("{path}::{name}"),
                _ => name,
            };
            open = chars[*at..].starts_with(&[':', ':']);
            if open {
                *at += 2;
                if chars.get(*at) == Some(&'{') {
                    *at += 1;
                    walk(chars, at, line, &path, true, found);
                    (path, open) = (prefix.to_owned(), true);
                }
            } else {
                found.push((*line, std::mem::replace(&mut path, prefix.to_owned())));
                open = true;
            }
        } else if !c.is_whitespace() {
            if tree && c == '}' {
                return;
            }
            if !path.is_empty() && path != prefix {
                // `a::*` and `a::<T>` name `a`.
                found.push((*line, std::mem::replace(&mut path, prefix.to_owned())));
            }
        }
    }
}

mod tests {
    use super::{paths, read, without_tests};

    #[test]
    fn code_and_literals_are_told_apart() {
        let text = "let a = \"x \\\" // y\"; // \"no\"\nlet b = r#\"q \" r\"#; let c = '\"'; fn f<'a>() {} /* /* \" */ */ let d = b\"z\";";
        let source = read(text);
        let inside: Vec<_> = source.strings.iter().map(|(line, s)| (*line, s.as_str())).collect();
        assert_eq!(inside, [(1, "x \\\" // y"), (2, "q \" r"), (2, "z")]);
        assert!(source.code.contains("fn f<'a>() {}"), "{}", source.code);
        assert!(!source.code.contains("no") && !source.code.contains('y'), "{}", source.code);
    }

    #[test]
    fn paths_are_spread_out() {
        let code = "use a::{b, c::{d as e, f}, self};\nuse g::*;\nlet x = h::i::<u8>(j); k.l();";
        let named: Vec<_> = paths(code).into_iter().map(|(_, path)| path).collect();
        for wanted in ["a::b", "a::c::d", "a::c::f", "a::self", "g", "h::i", "j"] {
            assert!(named.iter().any(|n| n == wanted), "{wanted} in {named:?}");
        }
        assert!(!named.iter().any(|n| n == "e" || n == "a::e"), "{named:?}");
        let lines: Vec<_> = paths(code).into_iter().filter(|(_, p)| p == "g").collect();
        assert_eq!(lines, [(2, "g".to_owned())]);
    }

    #[test]
    fn test_items_are_left_out() {
        let code =
            "fn a() {}\n#[cfg(test)]\nmod tests { fn b() { c(); } }\nfn d() {}\n#[cfg(test)]\nmod more;\nfn e() {}";
        let kept = without_tests(code);
        assert!(kept.contains("fn a") && kept.contains("fn d") && kept.contains("fn e"), "{kept}");
        assert!(!kept.contains("fn b") && !kept.contains("mod more"), "{kept}");
    }
}
