//! What one file says: the modules it declares, the names it defines and brings in, and the paths it walks.
//!
//! Assumes: unit tests stand in a `mod tests { .. }` of the file; they may look at anything, and are left out.
//! A module written within a file (`mod x { .. }`) counts as its file.

use proc_macro2::{Delimiter, Group, TokenStream, TokenTree};
use std::collections::BTreeSet;
use std::iter::Peekable;

/// A path from the file itself (`super`, `crate` and `self` as written), a segment each.
pub type Segments = Vec<String>;

/// A line of a `use`, one for every name in its braces.
pub struct Use {
    /// What the name is here; `*` brings all in.
    pub name: String,
    pub path: Segments,
    /// Whether others may take the name from here.
    pub passed_on: bool,
}

#[derive(Default)]
pub struct Source {
    /// The modules it declares that are files of their own.
    pub modules: BTreeSet<String>,
    /// What it defines itself for others, as far as no macro makes it.
    pub defined: BTreeSet<String>,
    pub uses: Vec<Use>,
    /// The paths of two segments and more outside a `use`.
    pub paths: Vec<Segments>,
    /// Every word outside a `use` that is no part of a path, and the first of each path.
    pub words: BTreeSet<String>,
    /// Those of them that are called.
    pub called: BTreeSet<String>,
}

type Tokens = Peekable<proc_macro2::token_stream::IntoIter>;

impl Source {
    pub fn read(text: &str) -> Self {
        let mut source = Self::default();
        let tokens = text.parse().expect("a file that compiles");
        source.take(tokens, 0, true);
        source
    }

    /// `depth` is how many modules within the file the tokens stand in; `is_top`: in the file itself, and in nothing.
    fn take(&mut self, tokens: TokenStream, depth: usize, is_top: bool) {
        let mut tokens = tokens.into_iter().peekable();
        let (mut passed_on, mut is_part) = (false, false);
        while let Some(token) = tokens.next() {
            // What stands behind a point is a field or a method, whatever it is called.
            let was_part = std::mem::replace(&mut is_part, is_sign(Some(&token), '.'));
            let word = match token {
                TokenTree::Ident(word) => word.to_string(),
                TokenTree::Group(group) => {
                    // `pub(in crate::a)`: the word before still holds, and nothing is taken.
                    passed_on &= is_reach(&group);
                    if !passed_on {
                        self.take(group.stream(), depth, false);
                    }
                    continue;
                }
                _ => {
                    passed_on = false;
                    continue;
                }
            };
            match word.as_str() {
                _ if was_part => {}
                "pub" => {
                    passed_on = true;
                    continue;
                }
                // Not the `use<'a>` of a bound.
                "use" if !is_sign(tokens.peek(), '<') => self.take_use(&mut tokens, &[], passed_on, depth),
                "mod" => self.take_module(&mut tokens, depth),
                "fn" | "struct" | "enum" | "trait" | "type" | "const" | "static" | "union"
                | "macro_rules" => {
                    if is_sign(tokens.peek(), '!') {
                        tokens.next();
                    }
                    // After `const` another word of the same kind may follow, as in `const fn`.
                    let name = tokens.next_if(|next| matches!(next, TokenTree::Ident(name) if name != "fn"));
                    self.defined.extend(name.filter(|_| is_top).map(|name| name.to_string()));
                }
                _ => self.take_path(word, &mut tokens, depth),
            }
            passed_on = false;
        }
    }

    fn take_module(&mut self, tokens: &mut Tokens, depth: usize) {
        let Some(TokenTree::Ident(name)) = tokens.next() else { return };
        match tokens.next() {
            Some(TokenTree::Group(_)) if name == "tests" => {}
            Some(TokenTree::Group(group)) => {
                self.defined.insert(name.to_string());
                self.take(group.stream(), depth + 1, false);
            }
            _ => {
                self.modules.insert(name.to_string());
            }
        }
    }

    /// The rest of a path whose first word was read.
    fn take_path(&mut self, first: String, tokens: &mut Tokens, depth: usize) {
        self.words.insert(first.clone());
        let mut path = vec![first];
        while step(tokens) {
            match tokens.peek() {
                Some(TokenTree::Ident(word)) => path.push(word.to_string()),
                // `::<T>`, or the `{` of a macro's own pattern.
                _ => break,
            }
            tokens.next();
        }
        if path.len() == 1 && is_group(tokens.peek(), Delimiter::Parenthesis) {
            self.called.extend(path);
        } else if path.len() > 1 {
            self.paths.extend(out_of_the_file(path, depth));
        }
    }

    /// The rest of a `use`, or of one part of its braces, after `before`.
    fn take_use(&mut self, tokens: &mut Tokens, before: &[String], passed_on: bool, depth: usize) {
        let mut path = before.to_vec();
        let mut name = None;
        let mut open = false;
        let mut done = |path: &mut Segments, name: &mut Option<String>, open: &mut bool| {
            if std::mem::take(open) {
                let last = path.last().cloned().unwrap_or_default();
                if path.len() > 1 && last == "self" {
                    path.pop();
                }
                let name = name.take().or_else(|| path.last().cloned()).unwrap_or_default();
                let path = out_of_the_file(std::mem::take(path), depth);
                self.uses.extend(path.map(|path| Use { name, path, passed_on }));
            }
            before.clone_into(path);
        };
        let mut groups = Vec::new();
        while let Some(token) = tokens.next() {
            match token {
                TokenTree::Ident(word) if word == "as" => name = tokens.next().map(|word| word.to_string()),
                TokenTree::Ident(word) => {
                    path.push(word.to_string());
                    open = true;
                }
                TokenTree::Group(group) => {
                    groups.push((path.clone(), group));
                    open = false;
                }
                TokenTree::Punct(sign) if sign.as_char() == '*' => {
                    name = Some("*".to_owned());
                    open = true;
                }
                TokenTree::Punct(sign) if sign.as_char() == ',' => done(&mut path, &mut name, &mut open),
                TokenTree::Punct(sign) if sign.as_char() == ';' => break,
                _ => {}
            }
        }
        done(&mut path, &mut name, &mut open);
        for (path, group) in groups {
            self.take_use(&mut group.stream().into_iter().peekable(), &path, passed_on, depth);
        }
    }
}

/// A path as the file itself would write it: `super` out of a module within the file stays in the file.
fn out_of_the_file(mut path: Segments, depth: usize) -> Option<Segments> {
    let ups = path.iter().take_while(|segment| *segment == "super").count();
    match depth {
        0 => {}
        _ if ups == 0 => {}
        _ if ups <= depth => path.splice(..ups, ["self".to_owned()]).for_each(drop),
        _ => path.drain(..depth).for_each(drop),
    }
    (path.len() > 1 || path.first().is_some_and(|first| first != "self")).then_some(path)
}

/// Goes over `::`, if that is next.
fn step(tokens: &mut Tokens) -> bool {
    let mut ahead = tokens.clone();
    let is = is_sign(ahead.next().as_ref(), ':') && is_sign(ahead.next().as_ref(), ':');
    if is {
        *tokens = ahead;
    }
    is
}

/// Is it what stands behind `pub` to say for whom?
fn is_reach(group: &Group) -> bool {
    let first = group.stream().into_iter().next().map(|first| first.to_string());
    group.delimiter() == Delimiter::Parenthesis
        && first.is_some_and(|first| ["crate", "super", "self", "in"].contains(&first.as_str()))
}

fn is_group(token: Option<&TokenTree>, delimiter: Delimiter) -> bool {
    matches!(token, Some(TokenTree::Group(group)) if group.delimiter() == delimiter)
}

fn is_sign(token: Option<&TokenTree>, sign: char) -> bool {
    matches!(token, Some(TokenTree::Punct(punct)) if punct.as_char() == sign)
}
