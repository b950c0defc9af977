//! Figures, what they were, and their limits: named numbers.

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

/// Blocks that a handset takes in each second: 40 samples each, at 8 kHz.
const BLOCKS_PER_SECOND: f64 = 200.0;

/// Add what a handset takes of a processor of 100 MHz that needs a cycle for each instruction.
pub fn add_share(figures: &mut Table) {
    if let Some(per_block) = figures.get("handset.whole.instructions_per_block") {
        let hundredths = (per_block * BLOCKS_PER_SECOND / 100e6 * 100.0 * 100.0).round();
        figures.insert("handset.whole.percent_of_100_mhz".into(), hundredths / 100.0);
    }
}

/// Figures as the TOML of a stored table.
pub fn to_toml(figures: &Table) -> String {
    let kept = figures.iter().filter(|(name, _)| !name.starts_with(BITS));
    let head =
        "# Every figure as `bash tests/all.sh` measured it; none may grow by more than 2 %.\n".to_owned();
    let head = head + "# To take over what was last measured: cp target/figures.toml boards/figures.toml\n";
    head + &kept.map(|(name, value)| format!("{name} = {value}\n")).collect::<String>()
}

/// A figure that grew by a greater factor than this is noticed.
const MAX_GROWTH: f64 = 1.02;

/// A figure with this behind its name bounds the figure without it.
const AT_MOST: &str = "_at_most";

/// Every figure beside the stored one and its limit.
pub struct Comparison {
    rows: Vec<Row>,
}

struct Row {
    name: String,
    stored: Option<f64>,
    measured: Option<f64>,
    limit: Option<f64>,
    /// What was seen of something that can be no more than this.
    seen: Option<f64>,
}

impl Row {
    fn complaint(&self) -> Option<&'static str> {
        let (Some(measured), Some(stored)) = (self.measured, self.stored) else {
            return Some(if self.measured.is_none() { "not measured" } else { "not in the stored table" });
        };
        if self.limit.is_some_and(|limit| measured > limit) {
            Some("ABOVE ITS LIMIT")
        } else if self.seen.is_some_and(|seen| measured < seen) {
            Some("LESS THAN WAS SEEN: no bound")
        } else if measured > MAX_GROWTH * stored {
            Some("GREW BY MORE THAN 2 %")
        } else {
            None
        }
    }

    /// How much the figure changed, where it did.
    fn change(&self) -> String {
        match (self.measured, self.stored) {
            (Some(measured), Some(stored)) if measured != stored => {
                format!("{:+.2} %", 100.0 * (measured / stored - 1.0))
            }
            _ => String::new(),
        }
    }
}

/// Put figures beside stored ones and limits, by name. Only what is promised has a limit.
pub fn compare(limits: &Table, stored: &Table, measured: &Table) -> Comparison {
    let names: BTreeSet<&String> = limits.keys().chain(stored.keys()).chain(measured.keys()).collect();
    let rows = names.into_iter().filter(|name| !name.starts_with(BITS)).map(|name| Row {
        name: name.clone(),
        stored: stored.get(name).copied(),
        measured: measured.get(name).copied(),
        limit: limits.get(name).copied(),
        seen: name.strip_suffix(AT_MOST).and_then(|seen| measured.get(seen)).copied(),
    });
    Comparison { rows: rows.collect() }
}

impl Comparison {
    /// An error unless every figure was measured, is about what is stored, and keeps its limit.
    pub fn verdict(&self) -> Result<()> {
        let broken: Vec<&str> =
            self.rows.iter().filter(|row| row.complaint().is_some()).map(|row| row.name.as_str()).collect();
        ensure!(broken.is_empty(), "figures to look at: {}", broken.join(", "));
        ensure!(!self.rows.is_empty(), "there are no figures");
        Ok(())
    }
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.rows.iter().map(|row| row.name.len()).max().unwrap_or(0);
        let number = |value: Option<f64>| value.map_or("-".to_string(), |value| value.to_string());
        let mut line = |name: &str, rest: [&str; 5]| {
            let [stored, measured, change, limit, complaint] = rest;
            let line = format!(
                "{name:width$}  {stored:>10}  {measured:>10}  {change:>9}  {limit:>8}  {complaint}"
            );
            writeln!(f, "{}", line.trim_end())
        };
        line("figure", ["stored", "measured", "change", "limit", ""])?;
        self.rows.iter().try_for_each(|row| {
            let limit = row.limit.map(|limit| limit.to_string()).unwrap_or_default();
            let complaint = row.complaint().unwrap_or_default();
            line(&row.name, [&number(row.stored), &number(row.measured), &row.change(), &limit, complaint])
        })
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

    fn verdict(limits: &str, stored: &str, figures: &str) -> Result<()> {
        compare(&parse(limits)?, &parse(stored)?, &parse(figures)?).verdict()
    }

    #[test]
    fn a_figure_at_its_limit_passes_and_above_it_fails() {
        let stored = "math.cbrt.cost = 18";
        assert!(verdict("[math]\ncbrt.cost = 18", stored, "math.cbrt.cost = 18.0").is_ok());
        assert!(verdict("[math]\ncbrt.cost = 18", stored, "math.cbrt.cost = 18.01").is_err());
    }

    #[test]
    fn growth_by_two_per_cent_passes_and_by_more_fails_and_says_what_grew() {
        assert!(verdict("", "a = 100\nb = 0", "a = 102\nb = 0").is_ok());
        assert!(verdict("", "a = 100", "a = 1").is_ok());
        assert!(verdict("", "b = 0", "b = 1").is_err());
        let error = verdict("", "cost = 1\na = 100", "cost = 1\na = 102.01").unwrap_err();
        assert_eq!(error.to_string(), "figures to look at: a");
    }

    #[test]
    fn a_figure_in_only_one_table_and_nothing_at_all_fail() {
        assert!(verdict("", "a = 1", "a = 1\nb = 1").is_err());
        assert!(verdict("", "a = 1\nb = 1", "a = 1").is_err());
        assert!(verdict("b = 1", "a = 1", "a = 1").is_err());
        assert!(verdict("", "", "bits.a = 1").is_err());
    }

    #[test]
    fn the_share_is_that_of_100_million_instructions_a_second() {
        let mut figures = parse("handset.whole.instructions_per_block = 22_000").unwrap();
        add_share(&mut figures);
        assert_eq!(figures["handset.whole.percent_of_100_mhz"], 4.4);
    }

    #[test]
    fn a_bound_below_what_was_seen_fails() {
        let stored = "stack = 9\nstack_at_most = 9";
        assert!(verdict("", stored, "stack = 8\nstack_at_most = 8").is_ok());
        assert!(verdict("", stored, "stack = 8\nstack_at_most = 7").is_err());
    }

    #[test]
    fn what_is_stored_is_read_again() {
        let figures = parse("a.b = 1.25\nbits.c = 3\nd = 40000").unwrap();
        assert_eq!(parse(&to_toml(&figures)).unwrap(), parse("a.b = 1.25\nd = 40000").unwrap());
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
