//! What the body of a function is replaced with, by its return type.

use syn::{GenericArgument, PathArguments, ReturnType, Type};

/// How many values a type is tried with at most, so that tuples don't multiply.
const MOST: usize = 6;

pub enum Instead {
    /// Expressions to return at once; an empty one for `()`.
    Values(Vec<String>),
    /// It gives an iterator of a type without a name: the same one, with nothing left in it.
    Emptied,
}

pub fn instead(output: &ReturnType) -> Instead {
    match output {
        ReturnType::Default => Instead::Values(vec![String::new()]),
        ReturnType::Type(_, ty) if iterates(ty) => Instead::Emptied,
        ReturnType::Type(_, ty) => Instead::Values(values(ty)),
    }
}

fn iterates(ty: &Type) -> bool {
    let Type::ImplTrait(ty) = ty else { return false };
    ty.bounds.iter().any(|bound| match bound {
        syn::TypeParamBound::Trait(bound) => {
            bound.path.segments.last().is_some_and(|last| last.ident.to_string().ends_with("Iterator"))
        }
        _ => false,
    })
}

fn values(ty: &Type) -> Vec<String> {
    let mut found = match ty {
        Type::Never(_) | Type::ImplTrait(_) => Vec::new(),
        Type::Paren(ty) => values(&ty.elem),
        Type::Tuple(ty) => {
            let each = ty.elems.iter().map(values);
            let all = each.fold(vec![String::new()], |sofar, next| {
                sofar.iter().flat_map(|start| next.iter().map(move |value| format!("{start}{value}, "))).collect()
            });
            all.into_iter().map(|inside| format!("({inside})")).collect()
        }
        Type::Array(ty) => values(&ty.elem).into_iter().map(|value| format!("[const {{ {value} }}; _]")).collect(),
        Type::Reference(ty) => match &*ty.elem {
            Type::Path(path) if path.path.is_ident("str") => vec!["\"\"".into(), "\"xyzzy\"".into()],
            Type::Slice(slice) => vectors(&slice.elem).into_iter().map(|value| format!("Vec::leak({value})")).collect(),
            elem => values(elem).into_iter().map(|value| format!("Box::leak(Box::new({value}))")).collect(),
        },
        Type::Path(ty) => {
            let Some(last) = ty.path.segments.last() else { return Vec::new() };
            let mut inner = Vec::new();
            if let PathArguments::AngleBracketed(arguments) = &last.arguments {
                inner.extend(arguments.args.iter().filter_map(|argument| match argument {
                    GenericArgument::Type(ty) => Some(ty),
                    _ => None,
                }));
            }
            of_path(&last.ident.to_string(), &inner)
        }
        _ => vec!["Default::default()".into()],
    };
    found.truncate(MOST);
    found
}

fn vectors(elem: &Type) -> Vec<String> {
    let one = values(elem).into_iter().map(|value| format!("vec![{value}]"));
    [String::from("Vec::new()")].into_iter().chain(one).collect()
}

fn of_path(name: &str, inner: &[&Type]) -> Vec<String> {
    let wrap = |with: &str| -> Vec<String> {
        inner.first().map(|ty| values(ty)).unwrap_or_default().iter().map(|value| with.replace('…', value)).collect()
    };
    let owned = |list: &[&str]| list.iter().map(|value| (*value).to_owned()).collect();
    match name {
        "bool" => owned(&["true", "false"]),
        "u8" | "u16" | "u32" | "u64" | "u128" | "usize" => owned(&["0", "1"]),
        "i8" | "i16" | "i32" | "i64" | "i128" | "isize" => owned(&["0", "1", "-1"]),
        "f32" | "f64" => owned(&["0.0", "1.0", "-1.0"]),
        "String" => owned(&["String::new()", "String::from(\"xyzzy\")"]),
        "Cow" => owned(&["\"\".into()", "\"xyzzy\".into()"]),
        "Option" => [String::from("None")].into_iter().chain(wrap("Some(…)")).collect(),
        "Result" if inner.is_empty() => owned(&["Ok(Default::default())"]),
        "Result" => match inner[0] {
            Type::Tuple(unit) if unit.elems.is_empty() => owned(&["Ok(())"]),
            _ => wrap("Ok(…)"),
        },
        "Vec" if inner.len() == 1 => vectors(inner[0]),
        "Box" | "Arc" | "Rc" => wrap(&format!("{name}::new(…)")),
        _ => owned(&["Default::default()"]),
    }
}
