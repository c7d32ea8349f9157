//! A TOML document read key by key: unknown keys refused by name, every value with the line it stands on.

use std::cell::RefCell;
use std::collections::BTreeSet;

use backwatt_schema::unit::{Dimension, QuantityError, parse_quantity, spellings};
use backwatt_schema::{Problem, nearest};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::listing::{Listing, Origin};

/// What is shared while one document is read.
pub struct Context<'t> {
    pub file: String,
    text: &'t str,
    pub problems: RefCell<Vec<Problem>>,
    pub listing: RefCell<Listing>,
}

impl<'t> Context<'t> {
    pub fn new(file: String, text: &'t str) -> Self {
        Self { file, text, problems: RefCell::default(), listing: RefCell::default() }
    }

    /// 1-based line of a byte position.
    pub fn line(&self, at: usize) -> u64 {
        self.text.as_bytes().iter().take(at).filter(|b| **b == b'\n').count() as u64 + 1
    }

    pub fn problem(&self, problem: Problem) {
        self.problems.borrow_mut().push(problem.in_file(&self.file));
    }
}

/// One table of the document.
pub struct Section<'c, 't> {
    pub path: String,
    table: &'c DeTable<'t>,
    context: &'c Context<'t>,
    known: RefCell<BTreeSet<String>>,
}

/// A value and the line it stands on.
#[derive(Debug, Clone, PartialEq)]
pub struct At<T> {
    pub value: T,
    pub line: u64,
}

impl<'c, 't> Section<'c, 't> {
    pub fn root(table: &'c DeTable<'t>, context: &'c Context<'t>) -> Self {
        Self::new(String::new(), table, context)
    }

    fn new(path: String, table: &'c DeTable<'t>, context: &'c Context<'t>) -> Self {
        Self { path, table, context, known: RefCell::default() }
    }

    pub fn key_path(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    pub fn has(&self, key: &str) -> bool {
        self.table.iter().any(|(k, _)| k.get_ref().as_ref() == key)
    }

    /// A text value, listed with its origin.
    pub fn text(&self, key: &str) -> Option<At<String>> {
        let value = self.plain(key)?;
        match value.get_ref() {
            DeValue::String(text) => self.listed(key, value, text.to_string()),
            _ => self.wrong(key, value, "a text in quotes"),
        }
    }

    pub fn flag(&self, key: &str) -> Option<At<bool>> {
        let value = self.plain(key)?;
        match value.get_ref() {
            DeValue::Boolean(flag) => self.listed(key, value, *flag),
            _ => self.wrong(key, value, "true or false"),
        }
    }

    /// A plain number.
    pub fn number(&self, key: &str) -> Option<At<f64>> {
        let value = self.plain(key)?;
        match plain_number(value.get_ref()) {
            Some(number) => self.listed(key, value, number),
            None => self.wrong(key, value, "a number"),
        }
    }

    /// A share: a plain number, or a text with %.
    pub fn share(&self, key: &str) -> Option<At<f64>> {
        let value = self.plain(key)?;
        match value.get_ref() {
            DeValue::String(_) => self.quantity(key, Dimension::Ratio),
            other => match plain_number(other) {
                Some(number) => self.listed(key, value, number),
                None => self.wrong(key, value, "a share such as 0.9 or \"90 %\""),
            },
        }
    }

    /// A quantity "number unit", brought to SI.
    pub fn quantity(&self, key: &str, dimension: Dimension) -> Option<At<f64>> {
        let value = self.plain(key)?;
        let wanted = format!("a {dimension} with its unit, such as \"1 {}\"", first_spelling(dimension));
        let DeValue::String(text) = value.get_ref() else { return self.wrong(key, value, &wanted) };
        match parse_quantity(text) {
            Ok((number, found)) if found == dimension => {
                let line = self.context.line(value.span().start);
                self.list(key, text.to_string(), Origin::File { line });
                Some(At { value: number, line })
            }
            Ok((_, found)) => self.wrong(key, value, &format!("{wanted}, and not a {found}")),
            Err(QuantityError::UnknownUnit(unit)) => {
                let known = spellings(dimension).join(", ");
                self.wrong(
                    key,
                    value,
                    &format!("{wanted}; \"{unit}\" is not a unit known here (for a {dimension}: {known})"),
                )
            }
            Err(_) => self.wrong(key, value, &wanted),
        }
    }

    /// One text or several.
    pub fn texts(&self, key: &str) -> Option<At<Vec<String>>> {
        let value = self.plain(key)?;
        let texts: Option<Vec<String>> = match value.get_ref() {
            DeValue::String(text) => Some(vec![text.to_string()]),
            DeValue::Array(items) => items
                .iter()
                .map(
                    |item| {
                        if let DeValue::String(text) = item.get_ref() { Some(text.to_string()) } else { None }
                    },
                )
                .collect(),
            _ => None,
        };
        match texts {
            Some(texts) => {
                let line = self.context.line(value.span().start);
                self.list(key, texts.join(", "), Origin::File { line });
                Some(At { value: texts, line })
            }
            None => self.wrong(key, value, "a text in quotes, or a list of texts"),
        }
    }

    /// A list of plain numbers.
    pub fn numbers(&self, key: &str) -> Option<At<Vec<f64>>> {
        let value = self.plain(key)?;
        let numbers: Option<Vec<f64>> = match value.get_ref() {
            DeValue::Array(items) => items.iter().map(|item| plain_number(item.get_ref())).collect(),
            _ => None,
        };
        match numbers {
            Some(numbers) => {
                let line = self.context.line(value.span().start);
                let shown: Vec<String> = numbers.iter().map(f64::to_string).collect();
                self.list(key, shown.join(", "), Origin::File { line });
                Some(At { value: numbers, line })
            }
            None => self.wrong(key, value, "a list of numbers"),
        }
    }

    /// A table that is not written, for the defaults of one that is left out.
    pub fn nothing(&self, key: &str) -> Section<'c, 't> {
        static NOTHING: std::sync::LazyLock<DeTable<'static>> = std::sync::LazyLock::new(DeTable::new);
        Section::new(self.key_path(key), &NOTHING, self.context)
    }

    /// A table below this one.
    pub fn section(&self, key: &str) -> Option<Section<'c, 't>> {
        let value = self.plain(key)?;
        match value.get_ref() {
            DeValue::Table(table) => Some(Section::new(self.key_path(key), table, self.context)),
            _ => self.wrong(key, value, "a table"),
        }
    }

    /// Tables below this one by their own names, in the order of the names.
    pub fn named_sections(&self, key: &str) -> Vec<(String, Section<'c, 't>)> {
        self.section(key).map(|section| section.children()).unwrap_or_default()
    }

    /// Every key of this table as a table of its own.
    pub fn children(&self) -> Vec<(String, Section<'c, 't>)> {
        let names = self.table.iter().map(|(key, _)| key.get_ref().to_string());
        names.filter_map(|name| Some((name.clone(), self.section(&name)?))).collect()
    }

    /// A list of tables, or one table.
    pub fn sections(&self, key: &str) -> Vec<Section<'c, 't>> {
        let Some(value) = self.plain(key) else { return Vec::new() };
        match value.get_ref() {
            DeValue::Array(items) => items
                .iter()
                .enumerate()
                .filter_map(|(at, item)| match item.get_ref() {
                    DeValue::Table(table) => {
                        Some(Section::new(format!("{}.{}", self.key_path(key), at + 1), table, self.context))
                    }
                    _ => self.wrong(key, item, "a list of tables"),
                })
                .collect(),
            DeValue::Table(table) => vec![Section::new(self.key_path(key), table, self.context)],
            _ => {
                let _: Option<()> = self.wrong(key, value, "a table or a list of tables");
                Vec::new()
            }
        }
    }

    /// Keys of this table that are read elsewhere, and are not refused here as unknown.
    pub fn leave(&self, keys: &[&str]) {
        self.known.borrow_mut().extend(keys.iter().map(|key| (*key).to_owned()));
    }

    /// Notes a default with the reason for it.
    pub fn default(&self, key: &str, value: &str, source: &str) {
        self.list(key, value.to_owned(), Origin::Default { source: source.to_owned() });
    }

    /// A problem with another file that this table names.
    pub fn keep(&self, problem: Problem) {
        self.context.problems.borrow_mut().push(problem);
    }

    /// A problem with one key of this table, which is not refused a second time as unknown.
    pub fn fault(&self, code: &'static str, key: &str, message: String, hint: String) {
        self.known.borrow_mut().insert(key.to_owned());
        let line =
            self.table.iter().find(|(k, _)| k.get_ref().as_ref() == key).map(|(_, value)| value.span().start);
        let mut problem = Problem::error(code, message).named(self.key_path(key)).hint(hint);
        if let Some(at) = line {
            problem = problem.on_line(self.context.line(at));
        }
        self.context.problem(problem);
    }

    /// Refuses the keys nobody asked for, with the nearest valid name.
    pub fn finish(&self) {
        let known = self.known.borrow();
        for (key, _) in self.table {
            let name = key.get_ref().as_ref();
            if known.contains(name) {
                continue;
            }
            let valid = known.iter().map(String::as_str).collect::<Vec<_>>();
            let list = valid.join(", ");
            let hint = match nearest(name, valid) {
                Some(near) => format!("did you mean \"{near}\"? valid here: {list}"),
                None => format!("valid here: {list}"),
            };
            let place = if self.path.is_empty() { "the file".to_owned() } else { format!("[{}]", self.path) };
            self.context.problem(
                Problem::error("pilot-unknown-key", format!("{place} has no key \"{name}\""))
                    .on_line(self.context.line(key.span().start))
                    .named(self.key_path(name))
                    .hint(hint),
            );
        }
    }

    fn plain(&self, key: &str) -> Option<&'c Spanned<DeValue<'t>>> {
        self.known.borrow_mut().insert(key.to_owned());
        self.table.iter().find(|(k, _)| k.get_ref().as_ref() == key).map(|(_, value)| value)
    }

    fn listed<T: ToString>(&self, key: &str, value: &Spanned<DeValue<'t>>, found: T) -> Option<At<T>> {
        let line = self.context.line(value.span().start);
        self.list(key, found.to_string(), Origin::File { line });
        Some(At { value: found, line })
    }

    fn list(&self, key: &str, value: String, origin: Origin) {
        self.context.listing.borrow_mut().put(self.key_path(key), value, origin);
    }

    fn wrong<T>(&self, key: &str, value: &Spanned<DeValue<'t>>, wanted: &str) -> Option<T> {
        let path = self.key_path(key);
        self.context.problem(
            Problem::error("pilot-wrong-value", format!("\"{path}\" wants {wanted}"))
                .on_line(self.context.line(value.span().start))
                .named(path)
                .with_value(shown(value.get_ref()))
                .hint("notebooks-docs/reference/pilot-file.md says what each key takes"),
        );
        None
    }
}

fn first_spelling(dimension: Dimension) -> &'static str {
    spellings(dimension).first().copied().unwrap_or("1")
}

fn plain_number(value: &DeValue<'_>) -> Option<f64> {
    let text = match value {
        DeValue::Integer(integer) => integer.as_str(),
        DeValue::Float(float) => float.as_str(),
        _ => return None,
    };
    text.replace('_', "").parse().ok().filter(|number: &f64| number.is_finite())
}

fn shown(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => text.to_string(),
        DeValue::Integer(integer) => integer.as_str().to_owned(),
        DeValue::Float(float) => float.as_str().to_owned(),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Datetime(time) => time.to_string(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}
