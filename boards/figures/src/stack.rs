//! The deepest stack that a function of a firmware image for a Cortex-M can take, from its machine code.
//!
//! Each function's frame is the sum of all that its instructions take from the stack pointer, and each call adds the
//! frame of what is called. So the figure is at least what is ever in use, if everything that is called can be seen:
//! what cannot be is named.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::ops::Range;

use anyhow::{Context as _, Result, bail, ensure};
use capstone::arch::arm::{ArchExtraMode, ArchMode, ArmInsn, ArmOperand, ArmOperandType, ArmReg};
use capstone::arch::{ArchDetail, BuildsCapstone as _, BuildsCapstoneExtraMode as _, DetailsArchInsn as _};
use capstone::{Capstone, Insn};
use object::{Object as _, ObjectSection as _, ObjectSymbol as _, SectionKind, SymbolKind};
use rustc_demangle::demangle;

use crate::image;

/// What formats text calls by address what also has this in its name: a figure's `fmt`, a text's `write_str`. All of
/// it is counted as if it stood on the stack at once, which holds as long as none of it calls itself.
const FORMATTING: &str = "core::fmt::";

/// Calls into what has this name are not followed: a panic does not come back. The link gate shows that the handset
/// has none.
const PANICS: &str = "core::panicking::";

/// The deepest stack below a function.
pub struct Deepest {
    /// Bytes from where the stack pointer stands at the call.
    pub bytes: u64,
    /// The functions on the way, each with its own frame.
    path: Vec<(String, u64)>,
    /// Functions on some way that call what an address in a register says.
    indirect: BTreeSet<String>,
    /// Panics on some way.
    panics: BTreeSet<String>,
}

/// Follow all calls from the one function of this name.
pub fn deepest(bytes: &[u8], root: &str) -> Result<Deepest> {
    let functions = functions(bytes)?;
    let mut roots = functions.iter().filter(|(_, function)| function.name == root);
    let (Some((&start, _)), None) = (roots.next(), roots.next()) else {
        bail!("there must be one function `{root}` in the image, never inlined")
    };
    let mut search = Search::new(&functions);
    let bytes = search.below(start)?;
    let mut path = Vec::new();
    let mut next = Some(start);
    while let Some(address) = next {
        let function = &functions[&address];
        path.push((function.name.clone(), function.frame));
        if function.is_indirect && function.formats() {
            path.push(("all that formats text".into(), search.formatting - function.frame));
        }
        next = search.deepest_of(function);
    }
    let names = |wanted: &dyn Fn(&Function) -> bool| {
        let seen = search.below.keys().map(|address| &functions[address]);
        seen.filter(|function| wanted(function)).map(|function| function.name.clone()).collect()
    };
    Ok(Deepest {
        bytes,
        path,
        indirect: names(&|function| function.is_indirect && !function.formats() && !function.panics()),
        panics: names(&Function::panics),
    })
}

impl fmt::Display for Deepest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (name, frame) in &self.path {
            writeln!(f, "# {frame:>7}  {name}")?;
        }
        for (what, names) in [("calls by address", &self.indirect), ("panics", &self.panics)] {
            match names.len() {
                0 => writeln!(f, "# {what}: none on any path")?,
                n => writeln!(f, "# {what}, not followed: {n}, in")?,
            }
            names.iter().try_for_each(|name| writeln!(f, "#          {name}"))?;
        }
        Ok(())
    }
}

/// What one function does to the stack.
struct Function {
    name: String,
    frame: u64,
    /// What it calls on top of its frame.
    calls: BTreeSet<u64>,
    /// What it ends in, its frame given back.
    ends_in: BTreeSet<u64>,
    /// Whether it also calls by address.
    is_indirect: bool,
}

/// The frames of all that formats text, and of all that this calls.
fn formatting(functions: &BTreeMap<u64, Function>) -> u64 {
    let mut next: Vec<u64> =
        functions.iter().filter(|(_, f)| f.formats()).map(|(address, _)| *address).collect();
    let mut reached = BTreeSet::new();
    while let Some(address) = next.pop() {
        if let Some(function) = functions.get(&address).filter(|function| !function.panics())
            && reached.insert(address)
        {
            next.extend(function.calls.iter().chain(&function.ends_in));
        }
    }
    reached.iter().map(|address| functions[address].frame).sum()
}

struct Search<'a> {
    functions: &'a BTreeMap<u64, Function>,
    /// What formatting takes.
    formatting: u64,
    /// What was found, by address.
    below: BTreeMap<u64, u64>,
    /// The path that is looked at.
    open: Vec<u64>,
}

impl<'a> Search<'a> {
    fn new(functions: &'a BTreeMap<u64, Function>) -> Self {
        Self { functions, formatting: formatting(functions), below: BTreeMap::new(), open: Vec::new() }
    }

    /// The deepest stack below the function at an address.
    fn below(&mut self, address: u64) -> Result<u64> {
        if let Some(known) = self.below.get(&address) {
            return Ok(*known);
        }
        let function =
            self.functions.get(&address).with_context(|| format!("no function at {address:#x}"))?;
        ensure!(!self.open.contains(&address), "`{}` calls itself: its stack has no bound", function.name);
        let mut bytes = function.frame;
        if function.is_indirect && function.formats() {
            bytes = self.formatting;
        } else if !function.panics() {
            self.open.push(address);
            for called in &function.calls {
                bytes = bytes.max(function.frame + self.below(*called)?);
            }
            for next in &function.ends_in {
                bytes = bytes.max(self.below(*next)?);
            }
            self.open.pop();
        }
        self.below.insert(address, bytes);
        Ok(bytes)
    }

    /// What of all that a function calls makes it as deep as it is.
    fn deepest_of(&self, function: &Function) -> Option<u64> {
        let on_top = function.calls.iter().map(|address| (function.frame, *address));
        let instead = function.ends_in.iter().map(|address| (0, *address));
        let known = on_top.chain(instead);
        let known = known.filter_map(|(frame, address)| Some((frame + self.below.get(&address)?, address)));
        known.max().filter(|(bytes, _)| *bytes > function.frame).map(|(_, address)| address)
    }
}

/// All functions of an image, by address.
fn functions(bytes: &[u8]) -> Result<BTreeMap<u64, Function>> {
    let elf = image::elf(bytes)?;
    let disassembler = disassembler()?;
    // The lowest bit of a function's address says that its code is Thumb; mapping symbols say where code is data.
    let mut extents = BTreeMap::new();
    let mut is_code = BTreeMap::new();
    for symbol in elf.symbols() {
        let name = symbol.name()?;
        if symbol.kind() == SymbolKind::Text && !name.starts_with('$') {
            extents.entry(symbol.address() & !1).or_insert((name, symbol.size()));
        } else if name.starts_with("$t") || name.starts_with("$d") {
            is_code.insert(symbol.address(), name.starts_with("$t"));
        }
    }
    let mut functions = BTreeMap::new();
    for section in elf.sections().filter(|section| section.kind() == SectionKind::Text) {
        let (from, data) = (section.address(), section.data()?);
        let to = from + section.size();
        let mut ends = extents.range(from..to).map(|(address, _)| *address).skip(1).chain([to]);
        for (&address, &(name, size)) in extents.range(from..to) {
            // What is written by hand may have no size: it ends where the next begins.
            let next = ends.next().unwrap_or(to);
            let end = if size == 0 { next } else { next.min(address + size) };
            let function = read(&disassembler, name, address..end, &is_code, &|at| {
                data.get((at.start - from) as usize..(at.end - from) as usize)
            });
            functions.insert(address, function.with_context(|| format!("{name} at {address:#x}"))?);
        }
    }
    Ok(functions)
}

fn disassembler() -> Result<Capstone> {
    let extra = [ArchExtraMode::MClass, ArchExtraMode::V8];
    Ok(Capstone::new().arm().mode(ArchMode::Thumb).extra_mode(extra.into_iter()).detail(true).build()?)
}

/// Go through all instructions of a function.
fn read<'a>(
    disassembler: &Capstone,
    name: &str,
    extent: Range<u64>,
    is_code: &BTreeMap<u64, bool>,
    bytes: &dyn Fn(Range<u64>) -> Option<&'a [u8]>,
) -> Result<Function> {
    let mut function = Function {
        name: format!("{:#}", demangle(name)),
        frame: 0,
        calls: BTreeSet::new(),
        ends_in: BTreeSet::new(),
        is_indirect: false,
    };
    let mut cuts = vec![extent.start];
    cuts.extend(is_code.range(extent.start + 1..extent.end).map(|(address, _)| *address));
    cuts.push(extent.end);
    for &[from, to] in cuts.array_windows() {
        if is_code.range(..=from).next_back().is_some_and(|(_, code)| !code) {
            continue;
        }
        let code = bytes(from..to).context("outside its section")?;
        let instructions = disassembler.disasm_all(code, from)?;
        let read: usize = instructions.iter().map(|instruction| instruction.bytes().len()).sum();
        ensure!(read == code.len(), "no instruction at {:#x}", from + read as u64);
        for instruction in instructions.iter() {
            function
                .take(disassembler, instruction, &extent)
                .with_context(|| format!("`{instruction}` is not understood"))?;
        }
    }
    Ok(function)
}

impl Function {
    fn panics(&self) -> bool {
        self.name.starts_with(PANICS)
    }

    fn formats(&self) -> bool {
        self.name.contains(FORMATTING)
    }

    /// Note what an instruction does.
    fn take(&mut self, disassembler: &Capstone, instruction: &Insn<'_>, extent: &Range<u64>) -> Result<()> {
        let detail = disassembler.insn_detail(instruction)?;
        let ArchDetail::ArmDetail(detail) = detail.arch_detail();
        let operands: Vec<ArmOperand> = detail.operands().collect();
        let kind = ArmInsn::from(instruction.id().0);
        let target = operands.iter().find_map(|operand| match operand.op_type {
            ArmOperandType::Imm(address) => Some(u64::from(address as u32)),
            _ => None,
        });
        match kind {
            ArmInsn::ARM_INS_BL => {
                self.calls.insert(target.context("where to")?);
            }
            ArmInsn::ARM_INS_B => {
                let target = target.context("where to")?;
                if !extent.contains(&target) {
                    self.ends_in.insert(target);
                }
            }
            ArmInsn::ARM_INS_BLX => self.is_indirect = true,
            ArmInsn::ARM_INS_BX => self.is_indirect |= !is(operands.first(), ArmReg::ARM_REG_LR),
            _ => self.frame += taken(disassembler, instruction, kind, &operands, detail.writeback())?,
        }
        Ok(())
    }
}

/// What an instruction takes from the stack pointer, bytes. What gives back takes nothing.
fn taken(
    disassembler: &Capstone,
    instruction: &Insn<'_>,
    kind: ArmInsn,
    operands: &[ArmOperand],
    writes_back: bool,
) -> Result<u64> {
    let registers = |operands: &[ArmOperand]| -> u64 {
        let is_double = |operand: &&ArmOperand| match operand.op_type {
            ArmOperandType::Reg(id) => disassembler.reg_name(id).is_some_and(|name| name.starts_with('d')),
            _ => false,
        };
        4 * (operands.len() + operands.iter().filter(is_double).count()) as u64
    };
    let constant = || match operands.last().map(|operand| &operand.op_type) {
        Some(ArmOperandType::Imm(constant)) => u64::try_from(*constant).context("less than nothing"),
        _ => bail!("how much is not a constant"),
    };
    let on_sp = is(operands.first(), ArmReg::ARM_REG_SP);
    Ok(match kind {
        ArmInsn::ARM_INS_PUSH | ArmInsn::ARM_INS_VPUSH => registers(operands),
        ArmInsn::ARM_INS_STMDB | ArmInsn::ARM_INS_VSTMDB if on_sp && writes_back => {
            registers(&operands[1..])
        }
        ArmInsn::ARM_INS_SUB if on_sp => constant()?,
        ArmInsn::ARM_INS_ADD if on_sp => constant().map(|_| 0)?,
        ArmInsn::ARM_INS_POP | ArmInsn::ARM_INS_VPOP => 0,
        ArmInsn::ARM_INS_LDM | ArmInsn::ARM_INS_VLDMIA if on_sp => 0,
        _ => {
            let stored = operands.iter().find_map(|operand| match operand.op_type {
                ArmOperandType::Mem(at) if u32::from(at.base().0) == ArmReg::ARM_REG_SP => Some(at.disp()),
                _ => None,
            });
            if let (true, Some(displacement)) = (writes_back, stored) {
                return Ok(u64::try_from(-displacement).unwrap_or(0));
            }
            let detail = disassembler.insn_detail(instruction)?;
            let unseen = detail.regs_write().iter().any(|id| u32::from(id.0) == ArmReg::ARM_REG_SP);
            let seen = operands.iter().any(|operand| {
                is(Some(operand), ArmReg::ARM_REG_SP)
                    && operand.access.is_some_and(|access| access.is_writable())
            });
            ensure!(!unseen && !seen, "it sets the stack pointer");
            0
        }
    })
}

fn is(operand: Option<&ArmOperand>, register: u32) -> bool {
    operand.is_some_and(|operand| match operand.op_type {
        ArmOperandType::Reg(given) => u32::from(given.0) == register,
        _ => false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A function of these half words, as the Armv7-M Architecture Reference Manual encodes them (from memory).
    fn function(code: &[u16]) -> Result<Function> {
        let bytes: Vec<u8> = code.iter().flat_map(|half| half.to_le_bytes()).collect();
        let extent = 0x100..0x100 + bytes.len() as u64;
        read(&disassembler()?, "f", extent, &BTreeMap::new(), &|at| {
            bytes.get((at.start - 0x100) as usize..(at.end - 0x100) as usize)
        })
    }

    #[test]
    fn all_that_is_taken_from_the_stack_pointer_is_counted() {
        for (what, code, taken) in [
            ("push {r4, lr}", &[0xb510_u16][..], 8),
            ("push.w {r4-r11, lr}", &[0xe92d, 0x4ff0], 36),
            ("vpush {d8, d9}", &[0xed2d, 0x8b04], 16),
            ("vpush {s16}", &[0xed2d, 0x8a01], 4),
            ("str r8, [sp, #-4]!", &[0xf84d, 0x8d04], 4),
            ("sub sp, #16", &[0xb084], 16),
            ("sub.w sp, sp, #1448", &[0xf5ad, 0x6db5], 1448),
            ("subw sp, sp, #1572", &[0xf2ad, 0x6d24], 1572),
            ("push, sub, add, pop {r4, pc}", &[0xb510, 0xb084, 0xb004, 0xbd10], 24),
            ("ldr r8, [sp], #4", &[0xf85d, 0x8b04], 0),
            ("str r0, [sp, #4]", &[0x9001], 0),
            ("add r0, sp, #4", &[0xa801], 0),
        ] {
            assert_eq!(function(code).unwrap().frame, taken, "{what}");
        }
    }

    #[test]
    fn a_stack_pointer_that_is_set_in_another_way_is_an_error() {
        for (what, code) in [("mov sp, r4", &[0x46a5_u16][..]), ("sub.w sp, sp, r4", &[0xebad, 0x0d04])] {
            let error = format!("{:#}", function(code).err().unwrap());
            assert!(error.contains("is not understood"), "{what}: {error}");
        }
    }

    #[test]
    fn calls_jumps_and_addresses_are_told_apart() {
        // bl to 0x200, b within, b.w to 0x300, blx r3, bx lr
        let calling = function(&[0xf000, 0xf87e, 0xe000, 0xf000, 0xb8fb, 0x4798, 0x4770]).unwrap();
        assert_eq!(calling.calls, BTreeSet::from([0x200]));
        assert_eq!(calling.ends_in, BTreeSet::from([0x300]));
        assert!(calling.is_indirect);
        assert!(!function(&[0x4770]).unwrap().is_indirect);
    }

    fn graph(functions: &[(&str, u64, &[u64], &[u64])]) -> BTreeMap<u64, Function> {
        let function = |&(name, frame, calls, ends_in): &(&str, u64, &[u64], &[u64])| Function {
            name: name.to_owned(),
            frame,
            calls: calls.iter().copied().collect(),
            ends_in: ends_in.iter().copied().collect(),
            is_indirect: name.contains(FORMATTING),
        };
        (0..).zip(functions.iter().map(function)).collect()
    }

    #[test]
    fn frames_add_up_along_calls_and_not_along_jumps_or_into_panics() {
        let functions = graph(&[
            ("a", 8, &[1, 2, 3], &[4]),
            ("b", 100, &[], &[]),
            ("c", 16, &[1], &[]),
            ("core::panicking::panic", 40, &[4], &[]),
            ("d", 1000, &[], &[]),
        ]);
        assert_eq!(Search::new(&functions).below(2).unwrap(), 116);
        assert_eq!(Search::new(&functions).below(0).unwrap(), 1000);
    }

    #[test]
    fn what_formats_counts_with_all_that_formats_and_what_calls_itself_is_an_error() {
        let functions = graph(&[
            ("a", 8, &[1], &[]),
            ("core::fmt::write", 56, &[], &[]),
            ("<T as core::fmt::Display>::fmt", 100, &[1, 3], &[]),
            ("b", 10, &[], &[]),
            ("c", 1, &[5], &[]),
            ("d", 1, &[4], &[]),
        ]);
        assert_eq!(Search::new(&functions).below(0).unwrap(), 8 + 56 + 100 + 10);
        assert!(Search::new(&functions).below(4).is_err());
    }
}
