//! One file of the core with every change built in.
//!
//! Decides: where a change is put: `if crate::mutant::is(N) { changed } else { as it was }`.
//! Never: puts one into tests, patterns, types, constant items or macros.

use crate::names::{Point, on_one_line};
use crate::operators::{Change, binds, changes};
use quote::ToTokens;
use std::collections::BTreeSet;
use syn::spanned::Spanned;
use syn::visit_mut::{self, VisitMut};
use syn::{Attribute, BinOp, Block, Expr, ExprBinary, Pat, ReturnType, Signature, Stmt, Type, parse_quote};

/// What is left as it is, for the compiler does not take the change.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub struct Refused {
    /// Changes.
    pub numbers: BTreeSet<u32>,
    /// Functions that have to stay `const`.
    pub constant: BTreeSet<String>,
}

/// A file as it is built, and the changes in it.
#[derive(Debug)]
pub struct Changed {
    /// Rust.
    pub text: String,
    /// Changes that are in it.
    pub points: Vec<Point>,
    /// Functions that are `const` and have none.
    pub passed_over: usize,
}

/// Puts every change that is not refused into `source`; numbers go on after `last`.
///
/// # Errors
/// It is no Rust.
pub fn change(file: &str, source: &str, last: &mut u32, refused: &Refused) -> syn::Result<Changed> {
    let mut tree = syn::parse_file(source)?;
    let mut maker =
        Maker { file, source, last, refused, scope: Vec::new(), points: Vec::new(), passed_over: 0 };
    maker.visit_file_mut(&mut tree);
    let Maker { points, passed_over, .. } = maker;
    Ok(Changed { text: tree.to_token_stream().to_string(), points, passed_over })
}

struct Maker<'a> {
    file: &'a str,
    source: &'a str,
    last: &'a mut u32,
    refused: &'a Refused,
    /// Types and functions around.
    scope: Vec<String>,
    points: Vec<Point>,
    passed_over: usize,
}

impl Maker<'_> {
    fn number(&mut self, at: &impl Spanned, what: &str) -> Option<u32> {
        *self.last += 1;
        let number = *self.last;
        let span = at.span();
        let place = on_one_line(self.source.get(span.byte_range()).unwrap_or_default());
        let point = Point {
            number,
            file: self.file.to_owned(),
            line: span.start().line,
            function: self.scope.join("::"),
            change: format!("{what}: {place}"),
        };
        (!self.refused.numbers.contains(&number)).then(|| self.points.push(point))?;
        Some(number)
    }
    fn put(&mut self, expression: &mut Expr, at: &Expr, (what, changed): &Change) {
        if let Some(number) = self.number(at, what) {
            *expression = parse_quote!((if crate::mutant::is(#number) { #changed } else { #expression }));
        }
    }
    /// A condition that is always so, never so, or the contrary; `at` is the condition without any change.
    fn condition(&mut self, condition: &mut Expr, at: &Expr, with: &[&str]) {
        if let (
            Expr::Binary(ExprBinary { left, op: BinOp::And(_), right, .. }),
            Expr::Binary(ExprBinary { left: left_at, right: right_at, .. }),
        ) = (&mut *condition, at)
            && (binds(left_at) || binds(right_at))
        {
            for (part, at) in [(left, left_at), (right, right_at)] {
                if !binds(at) {
                    self.condition(part, at, &["always", "never"]);
                } else if matches!(**at, Expr::Binary(_)) {
                    self.condition(part, at, with);
                }
            }
            return;
        }
        if binds(at) {
            return;
        }
        for what in with {
            let changed = match *what {
                "always" => parse_quote!(true),
                "never" => parse_quote!(false),
                _ => parse_quote!(!(#at)),
            };
            self.put(condition, at, &((*what).to_owned(), changed));
        }
    }
    /// A function: its own name around, `const` gone, another value given back at once.
    fn function(
        &mut self,
        signature: &mut Signature,
        block: &mut Block,
        visit: impl FnOnce(&mut Self, &mut Block),
    ) {
        let name = signature.ident.to_string();
        if signature.constness.is_some() {
            if self.refused.constant.contains(&name) {
                self.passed_over += 1;
                return;
            }
            signature.constness = None;
        }
        self.scope.push(name);
        let as_it_was = signature.clone();
        visit(self, block);
        for (what, value) in returned(&as_it_was.output) {
            if let Some(number) = self.number(&as_it_was.ident, &what) {
                block.stmts.insert(0, parse_quote!(if crate::mutant::is(#number) { return #value; }));
            }
        }
        self.scope.pop();
    }
}

/// Values that are no answer.
fn returned(output: &ReturnType) -> Vec<(String, Expr)> {
    let ReturnType::Type(_, kind) = output else {
        return vec![("does nothing".to_owned(), parse_quote!(()))];
    };
    let Type::Path(path) = &**kind else { return Vec::new() };
    let name = path.path.segments.last().map(|segment| segment.ident.to_string()).unwrap_or_default();
    let values: &[&str] = match name.as_str() {
        "bool" => &["true", "false"],
        "Option" => &["None"],
        "u8" | "u16" | "u32" | "u64" | "i8" | "i16" | "i32" | "i64" | "usize" | "u128" | "i128" => {
            &["0", "1"]
        }
        "Self" => &[],
        _ => &["Default::default()"],
    };
    values
        .iter()
        .filter_map(|value| Some((format!("gives back {value}"), syn::parse_str(value).ok()?)))
        .collect()
}

fn is_of_tests(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        attribute.path().is_ident("test")
            || attribute.path().is_ident("cfg") && attribute.to_token_stream().to_string().contains("test")
    })
}

impl VisitMut for Maker<'_> {
    fn visit_item_mod_mut(&mut self, item: &mut syn::ItemMod) {
        if !is_of_tests(&item.attrs) {
            visit_mut::visit_item_mod_mut(self, item);
        }
    }
    fn visit_item_fn_mut(&mut self, item: &mut syn::ItemFn) {
        if !is_of_tests(&item.attrs) {
            self.function(&mut item.sig, &mut item.block, Maker::visit_block_mut);
        }
    }
    fn visit_item_impl_mut(&mut self, item: &mut syn::ItemImpl) {
        if is_of_tests(&item.attrs) {
            return;
        }
        let name = match &*item.self_ty {
            Type::Path(path) => path.path.segments.last().map(|last| last.ident.to_string()),
            _ => None,
        };
        self.scope.push(name.unwrap_or_default());
        visit_mut::visit_item_impl_mut(self, item);
        self.scope.pop();
    }
    fn visit_impl_item_fn_mut(&mut self, item: &mut syn::ImplItemFn) {
        if !is_of_tests(&item.attrs) {
            self.function(&mut item.sig, &mut item.block, Maker::visit_block_mut);
        }
    }
    fn visit_item_const_mut(&mut self, _: &mut syn::ItemConst) {}
    fn visit_impl_item_const_mut(&mut self, _: &mut syn::ImplItemConst) {}
    fn visit_item_static_mut(&mut self, _: &mut syn::ItemStatic) {}
    fn visit_item_enum_mut(&mut self, _: &mut syn::ItemEnum) {}
    fn visit_type_mut(&mut self, _: &mut Type) {}
    fn visit_pat_mut(&mut self, _: &mut Pat) {}
    fn visit_attribute_mut(&mut self, _: &mut Attribute) {}
    fn visit_expr_repeat_mut(&mut self, repeat: &mut syn::ExprRepeat) {
        self.visit_expr_mut(&mut repeat.expr);
    }
    fn visit_expr_if_mut(&mut self, choice: &mut syn::ExprIf) {
        let as_it_was = choice.cond.clone();
        visit_mut::visit_expr_if_mut(self, choice);
        self.condition(&mut choice.cond, &as_it_was, &["contrary"]);
    }
    fn visit_arm_mut(&mut self, arm: &mut syn::Arm) {
        let as_it_was = arm.guard.clone();
        visit_mut::visit_arm_mut(self, arm);
        if let (Some((_, guard)), Some((_, as_it_was))) = (&mut arm.guard, as_it_was) {
            self.condition(guard, &as_it_was, &["always", "never"]);
        }
    }
    fn visit_expr_match_mut(&mut self, choice: &mut syn::ExprMatch) {
        visit_mut::visit_expr_match_mut(self, choice);
        let Some((last, arms)) = choice.arms.split_last_mut() else { return };
        if !matches!(last.pat, Pat::Wild(_)) {
            return;
        }
        for arm in arms {
            if arm.guard.is_none()
                && let Some(number) = self.number(&arm.pat.clone(), "arm left out")
            {
                arm.guard = Some((syn::token::If::default(), parse_quote!(!crate::mutant::is(#number))));
            }
        }
    }
    fn visit_stmt_mut(&mut self, statement: &mut Stmt) {
        let as_it_was = statement.clone();
        visit_mut::visit_stmt_mut(self, statement);
        if let Stmt::Expr(Expr::MethodCall(_) | Expr::Call(_), Some(_)) = as_it_was
            && let Some(number) = self.number(&as_it_was, "left out")
        {
            *statement = parse_quote!(if !crate::mutant::is(#number) { #statement });
        }
    }
    fn visit_expr_mut(&mut self, expression: &mut Expr) {
        let as_it_was = expression.clone();
        match expression {
            // What is written to is no value.
            Expr::Assign(assign) => self.visit_expr_mut(&mut assign.right),
            Expr::Reference(reference) if reference.mutability.is_some() => {
                visit_mut::visit_expr_reference_mut(self, reference);
            }
            _ => visit_mut::visit_expr_mut(self, expression),
        }
        for change in changes(&as_it_was) {
            self.put(expression, &as_it_was, &change);
        }
    }
}
