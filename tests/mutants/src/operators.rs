//! What is changed into what.
//!
//! Decides: the changes of one expression. The set is the usual one: relational, arithmetic, logical and bit operators,
//! negated conditions, constants, statements left out and values returned (Jia and Harman, "An analysis and survey of
//! the development of mutation testing", IEEE Transactions on Software Engineering 37, 2011; and the manual of
//! cargo-mutants; both from memory). The core writes `saturating_add` where others write `+`: such methods are changed
//! as the operators they stand for.
//! Never: changes a pattern, a type or the value of a constant item, which cannot be switched when the program runs.

use quote::ToTokens;
use syn::{BinOp, Expr, ExprBinary, ExprMethodCall, Lit, UnOp, parse_quote};

/// A change: what it does in words or signs, and what stands there with it.
pub type Change = (String, Expr);

/// Does a condition bind names? Such a one can stand in an `if` alone.
pub fn binds(expression: &Expr) -> bool {
    match expression {
        Expr::Let(_) => true,
        Expr::Binary(ExprBinary { left, op: BinOp::And(_), right, .. }) => binds(left) || binds(right),
        _ => false,
    }
}

/// Every change of this expression itself, not of what it consists of.
pub fn changes(expression: &Expr) -> Vec<Change> {
    match expression {
        Expr::Binary(binary) if !binds(expression) => of_an_operator(binary),
        Expr::Unary(unary) if matches!(unary.op, UnOp::Not(_) | UnOp::Neg(_)) => {
            vec![("sign or `!` left out".to_owned(), (*unary.expr).clone())]
        }
        Expr::MethodCall(call) => of_a_method(call),
        Expr::Lit(literal) => of_a_literal(&literal.lit),
        Expr::Path(path) => {
            let name = path.path.segments.last().map(|segment| segment.ident.to_string());
            if name.is_some_and(|name| is_a_constant(&name)) {
                doubled_and_halved(expression)
            } else {
                Vec::new()
            }
        }
        Expr::Assign(_) => vec![("left out".to_owned(), parse_quote!({}))],
        _ => Vec::new(),
    }
}

/// Names in capitals, but for the ends of a type and what stands for no number: twice an end is that end.
fn is_a_constant(name: &str) -> bool {
    let capitals = name.chars().all(|sign| sign.is_ascii_uppercase() || sign.is_ascii_digit() || sign == '_');
    capitals
        && name.len() > 1
        && !["MAX", "MIN", "BITS", "FRACTION_BITS", "NOTHING", "NOT_ACKNOWLEDGED"].contains(&name)
}

fn doubled_and_halved(constant: &Expr) -> Vec<Change> {
    vec![
        ("doubled".to_owned(), parse_quote!((#constant).saturating_mul(2))),
        ("halved".to_owned(), parse_quote!((#constant / 2))),
    ]
}

fn of_an_operator(binary: &ExprBinary) -> Vec<Change> {
    let to: &[BinOp] = match binary.op {
        BinOp::Lt(_) => &[parse_quote!(<=)],
        BinOp::Le(_) => &[parse_quote!(<)],
        BinOp::Gt(_) => &[parse_quote!(>=)],
        BinOp::Ge(_) => &[parse_quote!(>)],
        BinOp::Eq(_) => &[parse_quote!(!=)],
        BinOp::Ne(_) => &[parse_quote!(==)],
        BinOp::Add(_) => &[parse_quote!(-)],
        BinOp::Sub(_) => &[parse_quote!(+)],
        BinOp::Mul(_) => &[parse_quote!(/)],
        BinOp::Div(_) | BinOp::Rem(_) => &[parse_quote!(*)],
        BinOp::And(_) => &[parse_quote!(||)],
        BinOp::Or(_) => &[parse_quote!(&&)],
        BinOp::Shl(_) => &[parse_quote!(>>)],
        BinOp::Shr(_) => &[parse_quote!(<<)],
        BinOp::BitAnd(_) | BinOp::BitXor(_) => &[parse_quote!(|)],
        BinOp::BitOr(_) => &[parse_quote!(&)],
        BinOp::AddAssign(_) => &[parse_quote!(-=)],
        BinOp::SubAssign(_) => &[parse_quote!(+=)],
        BinOp::BitAndAssign(_) => &[parse_quote!(|=)],
        BinOp::BitOrAssign(_) => &[parse_quote!(&=)],
        _ => &[],
    };
    let with = |op: &BinOp| {
        let changed = Expr::Binary(ExprBinary { op: *op, ..binary.clone() });
        (format!("`{}` to `{}`", binary.op.to_token_stream(), op.to_token_stream()), changed)
    };
    let mut changes: Vec<Change> = to.iter().map(with).collect();
    if matches!(
        binary.op,
        BinOp::AddAssign(_) | BinOp::SubAssign(_) | BinOp::BitAndAssign(_) | BinOp::BitOrAssign(_)
    ) {
        changes.push(("left out".to_owned(), parse_quote!({})));
    }
    changes
}

/// Methods that are each other's opposite.
const METHODS: [(&str, &str); 22] = [
    ("saturating_add", "saturating_sub"),
    ("saturating_sub", "saturating_add"),
    ("wrapping_add", "wrapping_sub"),
    ("wrapping_sub", "wrapping_add"),
    ("checked_add", "checked_sub"),
    ("checked_sub", "checked_add"),
    ("saturating_mul", "saturating_add"),
    ("checked_div", "checked_mul"),
    ("checked_mul", "checked_div"),
    ("min", "max"),
    ("max", "min"),
    ("min_by_key", "max_by_key"),
    ("max_by_key", "min_by_key"),
    ("is_some", "is_none"),
    ("is_none", "is_some"),
    ("any", "all"),
    ("all", "any"),
    ("is_none_or", "is_some_and"),
    ("is_some_and", "is_none_or"),
    ("front", "back"),
    ("back", "front"),
    ("checked_shl", "checked_shr"),
];
/// Methods whose answer is turned round.
const ANSWERS: [&str; 5] = ["contains", "is_empty", "is_full", "is_ok", "is_err"];

fn of_a_method(call: &ExprMethodCall) -> Vec<Change> {
    let name = call.method.to_string();
    let whole = Expr::MethodCall(call.clone());
    let receiver = &call.receiver;
    if let Some((_, other)) = METHODS.iter().find(|(method, _)| name == *method) {
        let other_call =
            ExprMethodCall { method: syn::Ident::new(other, call.method.span()), ..call.clone() };
        return vec![(format!("`{name}` to `{other}`"), Expr::MethodCall(other_call))];
    }
    if ANSWERS.contains(&name.as_str()) {
        return vec![("negated".to_owned(), parse_quote!(!(#whole)))];
    }
    match name.as_str() {
        "then_some" | "then" => {
            let arguments = &call.args;
            let method = &call.method;
            vec![(format!("`{name}` of the contrary"), parse_quote!((!(#receiver)).#method(#arguments)))]
        }
        "filter" => vec![("filter left out".to_owned(), parse_quote!((#receiver).filter(|_| true)))],
        "abs" | "saturating_abs" => vec![("`abs` left out".to_owned(), (**receiver).clone())],
        "to_bits" => match &**receiver {
            Expr::Path(path)
                if path.path.segments.last().is_some_and(|name| is_a_constant(&name.ident.to_string())) =>
            {
                doubled_and_halved(&whole)
            }
            _ => Vec::new(),
        },
        _ => Vec::new(),
    }
}

fn of_a_literal(literal: &Lit) -> Vec<Change> {
    let (from, to) = match literal {
        Lit::Bool(given) => (given.value.to_string(), (!given.value).to_string()),
        Lit::Int(given) => {
            let Ok(value) = given.base10_parse::<u128>() else { return Vec::new() };
            // A large number is a limit, as a named constant is.
            let other = match value {
                1 => 0,
                0..100 => value + 1,
                _ => value.saturating_mul(2),
            };
            (given.to_string(), format!("{other}{}", given.suffix()))
        }
        _ => return Vec::new(),
    };
    let Ok(expression) = syn::parse_str(&to) else { return Vec::new() };
    vec![(format!("`{from}` to `{to}`"), expression)]
}
