//! Reads firmware images and holds measured figures to what they were and to their limits, all TOML.

mod image;
mod said;
mod stack;
mod table;

use std::process::ExitCode;
use std::{fs, io};

use anyhow::{Context as _, Result, bail};

use crate::table::Table;

const USAGE: &str = "\
nullwalk-figures size NAME IMAGE        print the flash and static RAM of a firmware image as TOML
nullwalk-figures stack NAME IMAGE ROOT  print the deepest stack below the function ROOT of a firmware image, from its code
nullwalk-figures said IMAGE             print what the firmware IMAGE says on the standard input by defmt
nullwalk-figures panics IMAGE           list the places in the source from which IMAGE can panic
nullwalk-figures table FIGURES..        put figures together into one table
nullwalk-figures check LIMITS OLD NEW   print two tables beside limits; fail where a figure grew, is too much or missing
nullwalk-figures same FIGURES FIGURES   fail unless the `bits` of two runs are the same";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match run(&arguments.iter().map(String::as_str).collect::<Vec<_>>()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error:#}");
            ExitCode::FAILURE
        }
    }
}

fn run(arguments: &[&str]) -> Result<()> {
    match arguments {
        ["size", name, path] => {
            let size = image::size(&read(path)?).with_context(|| path.to_string())?;
            println!("{name}.flash_bytes = {}", size.flash_bytes);
            println!("{name}.static_ram_bytes = {}", size.static_ram_bytes);
            Ok(())
        }
        ["stack", name, path, root] => {
            let deepest = stack::deepest(&read(path)?, root).with_context(|| path.to_string())?;
            print!("{deepest}");
            println!("{name}.stack_bytes_at_most = {}", deepest.bytes);
            Ok(())
        }
        ["said", path] => said::print(&read(path)?, io::stdin().lock(), io::stdout().lock())
            .with_context(|| path.to_string()),
        ["panics", path] => {
            for place in image::panic_places(&read(path)?).with_context(|| path.to_string())? {
                println!("{place}");
            }
            Ok(())
        }
        ["table", figures @ ..] => {
            let mut measured = Table::default();
            for path in figures {
                measured.extend(read_table(path)?);
            }
            table::add_share(&mut measured);
            print!("{}", table::to_toml(&measured));
            Ok(())
        }
        ["check", limits, old, new] => {
            let comparison = table::compare(&read_table(limits)?, &read_table(old)?, &read_table(new)?);
            print!("{comparison}");
            comparison
                .verdict()
                .with_context(|| format!("if this is meant, say why in the commit, with: cp {new} {old}"))
        }
        ["same", left, right] => table::same_bits(&read_table(left)?, &read_table(right)?),
        _ => bail!("{USAGE}"),
    }
}

fn read(path: &str) -> Result<Vec<u8>> {
    fs::read(path).with_context(|| format!("cannot read {path}"))
}

fn read_table(path: &str) -> Result<Table> {
    let text = String::from_utf8(read(path)?).with_context(|| path.to_string())?;
    table::parse(&text).with_context(|| path.to_string())
}
