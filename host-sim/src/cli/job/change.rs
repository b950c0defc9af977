//! Entries corrected and withdrawn.

use serde_json::{Map, Value};

use super::desk::{Desk, entered};
use crate::cli::{Done, Failure};
use crate::job::Draft;

#[derive(clap::Args)]
pub struct Correct {
    #[command(flatten)]
    desk: Desk,
    /// Number of the entry
    entry: i64,
    /// A field and its new value in JSON, as in pipe.bore_m=0.15 or name='"gate"'; may be given several times
    #[arg(long = "set", required = true)]
    fields: Vec<String>,
    /// Why
    #[arg(long)]
    reason: String,
}

#[derive(clap::Args)]
pub struct Withdraw {
    #[command(flatten)]
    desk: Desk,
    /// Number of the entry
    entry: i64,
    /// Why
    #[arg(long)]
    reason: String,
}

pub fn correct(options: &Correct) -> Result<Done, Failure> {
    let mut patch = Value::Object(Map::new());
    for field in &options.fields {
        let (path, text) = field
            .split_once('=')
            .ok_or_else(|| format!("--set {field:?}: give a field, an equals sign and a value in JSON"))?;
        let value: Value = serde_json::from_str(text).map_err(|e| {
            format!("--set {field:?}: the value is no JSON: {e}; words stand in double quotes")
        })?;
        let nested = path.rsplit('.').fold(value, |inner, name| serde_json::json!({ name: inner }));
        // Laid over, not merged: a null is to arrive as one.
        overlay(&mut patch, nested);
    }
    let mut job = options.desk.open()?;
    let draft = Draft::Correction { of: options.entry, reason: options.reason.clone(), patch };
    let ids = job.append(&[draft])?;
    Ok(entered(&job, ids.start))
}

fn overlay(base: &mut Value, over: Value) {
    match (base, over) {
        (Value::Object(base), Value::Object(over)) => {
            for (name, value) in over {
                overlay(base.entry(name).or_insert(Value::Null), value);
            }
        }
        (base, over) => *base = over,
    }
}

pub fn withdraw(options: &Withdraw) -> Result<Done, Failure> {
    let mut job = options.desk.open()?;
    let draft = Draft::Withdrawal { of: options.entry, reason: options.reason.clone() };
    let ids = job.append(&[draft])?;
    Ok(entered(&job, ids.start))
}
