//! Figures and their limits: named numbers.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use anyhow::{Result, bail, ensure};
use toml::Value;

/// Numbers by their dotted names.
pub type Table = BTreeMap<String, f64>;

/// Names that start so are results of a computation, to be compared bit by bit, and have no limit.
const BITS: &str = "bits.";

/// The numbers of a TOML document.
pub fn parse(text: &str) -> Result<Table> {
    let mut table = Table::new();
    collect("", &Value::Table(text.parse()?), &mut table)?;
    Ok(table)
}

fn collect(name: &str, value: &Value, into: &mut Table) -> Result<()> {
    match value {
        Value::Table(inner) => {
            for (key, value) in inner {
                let dot = if name.is_empty() { "" } else { "." };
                collect(&format!("{name}{dot}{key}"), value, into)?;
            }
        }
        Value::Integer(number) => {
            into.insert(name.into(), *number as f64);
        }
        Value::Float(number) if number.is_finite() => {
            into.insert(name.into(), *number);
        }
        _ => bail!("`{name}` must be a number, is {value}"),
    }
    Ok(())
}

/// Every figure beside its limit.
pub struct Comparison {
    rows: Vec<Row>,
}

struct Row {
    name: String,
    measured: Option<f64>,
    limit: Option<f64>,
    /// What was seen of something that can be no more than this.
    seen: Option<f64>,
}

/// A figure with this behind its name bounds the figure without it.
const AT_MOST: &str = "_at_most";

impl Row {
    fn complaint(&self) -> Option<&'static str> {
        match (self.measured, self.limit) {
            (None, _) => Some("not measured"),
            (_, None) => Some("has no limit: add one"),
            (Some(measured), Some(limit)) if measured > limit => Some("TOO MUCH"),
            (Some(measured), _) if self.seen.is_some_and(|seen| seen > measured) => {
                Some("LESS THAN WAS SEEN: no bound")
            }
            _ => None,
        }
    }
}

/// Put figures beside limits, by name.
pub fn compare(limits: &Table, measured: &Table) -> Comparison {
    let names: BTreeSet<&String> = limits.keys().chain(measured.keys()).collect();
    let rows = names.into_iter().filter(|name| !name.starts_with(BITS)).map(|name| Row {
        name: name.clone(),
        measured: measured.get(name).copied(),
        limit: limits.get(name).copied(),
        seen: name.strip_suffix(AT_MOST).and_then(|seen| measured.get(seen)).copied(),
    });
    Comparison { rows: rows.collect() }
}

impl Comparison {
    /// An error unless every figure was measured, has a limit, and keeps it.
    pub fn verdict(&self) -> Result<()> {
        let broken = self.rows.iter().filter(|row| row.complaint().is_some()).count();
        ensure!(broken == 0, "{broken} of {} figures are not within their limits", self.rows.len());
        ensure!(!self.rows.is_empty(), "there are no figures");
        Ok(())
    }
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.rows.iter().map(|row| row.name.len()).max().unwrap_or(0);
        let number = |value: Option<f64>| value.map_or("-".to_string(), |value| value.to_string());
        writeln!(f, "{:width$}  {:>10}  {:>10}", "figure", "measured", "limit")?;
        for row in &self.rows {
            let (measured, limit) = (number(row.measured), number(row.limit));
            let complaint = row.complaint().unwrap_or("");
            let line = format!("{:width$}  {measured:>10}  {limit:>10}  {complaint}", row.name);
            writeln!(f, "{}", line.trim_end())?;
        }
        Ok(())
    }
}

/// An error unless both runs computed the same bits, and computed any.
pub fn same_bits(left: &Table, right: &Table) -> Result<()> {
    let bits = |table: &Table| -> Table {
        table.iter().filter(|(name, _)| name.starts_with(BITS)).map(|(n, v)| (n.clone(), *v)).collect()
    };
    let (left, right) = (bits(left), bits(right));
    ensure!(!left.is_empty(), "there are no `{BITS}` figures to compare");
    let names: BTreeSet<&String> = left.keys().chain(right.keys()).collect();
    let differing: Vec<&str> =
        names.into_iter().filter(|n| left.get(*n) != right.get(*n)).map(String::as_str).collect();
    ensure!(differing.is_empty(), "different bits: {}", differing.join(", "));
    println!("{} results have the same bits", left.len());
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(limits: &str, figures: &str) -> Result<()> {
        compare(&parse(limits)?, &parse(figures)?).verdict()
    }

    #[test]
    fn a_figure_at_its_limit_passes_and_above_it_fails() {
        assert!(verdict("[math]\ncbrt.cost = 18", "math.cbrt.cost = 18.0").is_ok());
        assert!(verdict("[math]\ncbrt.cost = 18", "math.cbrt.cost = 18.01").is_err());
    }

    #[test]
    fn a_figure_without_limit_a_limit_without_figure_and_nothing_at_all_fail() {
        assert!(verdict("a = 1", "a = 1\nb = 1").is_err());
        assert!(verdict("a = 1\nb = 1", "a = 1").is_err());
        assert!(verdict("", "bits.a = 1").is_err());
    }

    #[test]
    fn a_bound_below_what_was_seen_fails() {
        let limits = "stack = 9\nstack_at_most = 9";
        assert!(verdict(limits, "stack = 8\nstack_at_most = 8").is_ok());
        assert!(verdict(limits, "stack = 8\nstack_at_most = 7").is_err());
    }

    #[test]
    fn what_is_not_a_number_is_named() {
        let message = format!("{:#}", parse("a.b = 'x'").unwrap_err());
        assert!(message.contains("`a.b` must be a number"), "{message}");
        assert!(parse("a = nan").is_err());
        assert!(parse("a = ").is_err());
    }

    #[test]
    fn bits_must_agree_in_name_and_value() {
        let table = |text| parse(text).unwrap();
        let left = table("bits.a = 0xffff_ffff\ncost = 3");
        assert!(same_bits(&left, &table("bits.a = 0xffff_ffff")).is_ok());
        assert!(same_bits(&left, &table("bits.a = 0xffff_fffe")).is_err());
        assert!(same_bits(&left, &table("bits.a = 0xffff_ffff\nbits.b = 0")).is_err());
        assert!(same_bits(&table("cost = 3"), &table("cost = 3")).is_err());
    }
}
