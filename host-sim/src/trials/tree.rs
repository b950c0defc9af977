//! Reaching into the TOML tree of a site by dotted keys, entries of lists counted from 1.

use toml::{Table, Value};

/// The value at a key; `None` where there is none.
pub fn get<'a>(root: &'a Value, key: &str) -> Option<&'a Value> {
    key.split('.').try_fold(root, |node, part| match node {
        Value::Table(table) => table.get(part),
        Value::Array(list) => part.parse::<usize>().ok()?.checked_sub(1).and_then(|i| list.get(i)),
        _ => None,
    })
}

/// The number at a key.
pub fn number(root: &Value, key: &str) -> Option<f64> {
    match get(root, key)? {
        Value::Float(x) => Some(*x),
        Value::Integer(n) => Some(*n as f64),
        _ => None,
    }
}

/// Put a value at a key. Tables on the way are made where they are missing, and the number after a list's last
/// begins a new entry. A table is merged into what is there; anything else replaces it.
///
/// # Errors
/// Says what stands in the way.
pub fn put(root: &mut Value, key: &str, value: &Value) -> Result<(), String> {
    match value {
        Value::Table(parts) => {
            let place = reach(root, key)?;
            if !place.is_table() {
                *place = Value::Table(Table::new());
            }
            parts.iter().try_for_each(|(name, part)| put(place, name, part))
        }
        other => {
            *reach(root, key)? = other.clone();
            Ok(())
        }
    }
}

fn reach<'a>(root: &'a mut Value, key: &str) -> Result<&'a mut Value, String> {
    key.split('.').try_fold(root, |node, part| match node {
        Value::Table(table) => {
            Ok(table.entry(part.to_owned()).or_insert_with(|| Value::Table(Table::new())))
        }
        Value::Array(list) => {
            let count = list.len();
            let index = part.parse::<usize>().ok().and_then(|n| n.checked_sub(1)).filter(|&i| i <= count);
            let index = index.ok_or_else(|| {
                format!(
                    "`{part}` is no entry of a list of {count}; count from 1, {} begins a new one",
                    count + 1
                )
            })?;
            if index == count {
                list.push(Value::Table(Table::new()));
            }
            list.get_mut(index).ok_or_else(|| format!("`{part}` is no entry of a list of {count}"))
        }
        _ => Err(format!("`{part}` cannot be part of a plain value")),
    })
}

/// What stands where a key leads nowhere: in words, at the last part of it that exists.
pub fn neighbours(root: &Value, key: &str) -> String {
    let mut known = key;
    while let Some((parent, _)) = known.rsplit_once('.') {
        known = parent;
        if let Some(node) = get(root, known) {
            return format!("`{known}` has {}", parts(node));
        }
    }
    format!("the site has {}", parts(root))
}

fn parts(node: &Value) -> String {
    match node {
        Value::Table(table) => table.keys().cloned().collect::<Vec<_>>().join(", "),
        Value::Array(list) => format!("{} entries, counted from 1", list.len()),
        _ => "no parts".to_owned(),
    }
}

/// The keys of all plain values (and lists, and empty tables) of a table, with those values.
pub fn leaves(table: &Table) -> Vec<(String, Value)> {
    table.iter().flat_map(|(name, value)| leaves_of(name.clone(), value)).collect()
}

fn leaves_of(key: String, value: &Value) -> Vec<(String, Value)> {
    match value {
        Value::Table(table) if !table.is_empty() => {
            table.iter().flat_map(|(name, value)| leaves_of(format!("{key}.{name}"), value)).collect()
        }
        _ => vec![(key, value.clone())],
    }
}
