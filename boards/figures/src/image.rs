//! What a firmware image (a 32-bit ELF file) says about itself.

use std::collections::BTreeSet;

use anyhow::{Context as _, Result};
use object::elf::{SHF_ALLOC, SHF_WRITE, SHT_NOBITS, SectionFlags};
use object::read::elf::{ElfFile32, ElfSection32, SectionHeader as _};
use object::{Endianness, Object as _, ObjectSection as _};

/// Memory an image needs on the device.
pub struct Size {
    /// Code, constants and initial values.
    pub flash_bytes: u64,
    /// Variables that live for ever. The stack is not among them.
    pub static_ram_bytes: u64,
}

/// Add up the sections that reach the device. Unwinding tables do not: firmware that aborts on panic
/// discards them in its linker script.
pub fn size(bytes: &[u8]) -> Result<Size> {
    let mut size = Size { flash_bytes: 0, static_ram_bytes: 0 };
    for section in elf(bytes)?.sections().filter(|section| has(section, SHF_ALLOC)) {
        if section.name()?.starts_with(".ARM.ex") {
            continue;
        }
        if section.elf_section_header().sh_type(Endianness::Little) != SHT_NOBITS {
            size.flash_bytes += section.size();
        }
        if has(&section, SHF_WRITE) {
            size.static_ram_bytes += section.size();
        }
    }
    Ok(size)
}

/// The places in the source, as `file:line:column`, from which the image can panic: each leaves a
/// `core::panic::Location` (address and length of the file name, line, column) among the constants.
pub fn panic_places(bytes: &[u8]) -> Result<BTreeSet<String>> {
    let elf = elf(bytes)?;
    let constants: Vec<(u64, &[u8])> = elf
        .sections()
        .filter(|section| has(section, SHF_ALLOC))
        .map(|section| Ok((section.address(), section.data()?)))
        .collect::<Result<_>>()?;
    let text_at = |address: u32, length: u32| {
        constants.iter().find_map(|(start, data)| {
            let from = usize::try_from(u64::from(address).checked_sub(*start)?).ok()?;
            let to = from.checked_add(usize::try_from(length).ok()?)?;
            std::str::from_utf8(data.get(from..to)?).ok()
        })
    };
    let mut places = BTreeSet::new();
    for (_, data) in &constants {
        let words: Vec<u32> = data.as_chunks().0.iter().map(|word| u32::from_le_bytes(*word)).collect();
        for &[address, length, line, column] in words.array_windows() {
            if let Some(file) = text_at(address, length).filter(|text| text.ends_with(".rs")) {
                places.insert(format!("{file}:{line}:{column}"));
            }
        }
    }
    Ok(places)
}

fn has(section: &ElfSection32<'_, '_>, flag: SectionFlags) -> bool {
    section.elf_section_header().sh_flags(Endianness::Little) & flag == flag
}

/// The image, taken apart.
pub fn elf(bytes: &[u8]) -> Result<ElfFile32<'_>> {
    ElfFile32::parse(bytes).context("not a 32-bit ELF file")
}
