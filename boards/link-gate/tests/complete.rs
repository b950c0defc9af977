//! The gate proves nothing about a function it does not keep: every public function of the core, and every
//! method of a trait that the core implements by hand, must have its line.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use syn::visit::{self, Visit};

#[test]
fn every_public_function_of_the_core_has_its_line_in_the_gate() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let core = Sources::public_functions(&here.join("../../core/src"));
    let mut kept = Kept::default();
    for file in ["src/handset.rs", "src/parts.rs"] {
        kept.visit_file(&parse(&here.join(file)));
    }

    assert!(core.len() > 20, "found only {core:?} in the core");
    let missing: Vec<_> = core.difference(&kept.names).collect();
    assert!(missing.is_empty(), "add to boards/link-gate/src/parts.rs: {missing:#?}");
}

fn parse(path: &Path) -> syn::File {
    let text = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    syn::parse_file(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// What was found in the sources, whether or not it can be reached from outside the crate.
#[derive(Default)]
struct Sources {
    functions: Vec<Function>,
    /// Names that public modules define or export.
    reachable: BTreeSet<String>,
}

struct Function {
    /// As `module::function` or `Type::method`, without generic arguments.
    name: String,
    /// The name that must be reachable for this function to be so.
    through: String,
}

impl Sources {
    fn public_functions(folder: &Path) -> BTreeSet<String> {
        let mut found = Self::default();
        found.read_module(folder, "lib", true, "lib");
        let Self { functions, reachable } = found;
        functions.into_iter().filter(|f| reachable.contains(&f.through)).map(|f| f.name).collect()
    }

    /// The module `name`, a file in `folder`, and the modules below it. A private module is known from
    /// outside by the name of its `nearest_public` ancestor, if at all.
    fn read_module(&mut self, folder: &Path, name: &str, public: bool, nearest_public: &str) {
        let below = if name == "lib" { folder.to_path_buf() } else { folder.join(name) };
        let beside = folder.join(format!("{name}.rs"));
        let file = parse(&if beside.exists() { beside } else { below.join("mod.rs") });
        for item in &file.items {
            match item {
                syn::Item::Mod(module) if module.content.is_none() => {
                    let name = module.ident.to_string();
                    let public = public && is_public(&module.vis);
                    self.read_module(&below, &name, public, if public { &name } else { nearest_public });
                }
                syn::Item::Fn(function) if is_public(&function.vis) => {
                    let name = function.sig.ident.to_string();
                    self.define(public, &name);
                    self.functions
                        .push(Function { name: format!("{nearest_public}::{name}"), through: name });
                }
                syn::Item::Struct(item) if is_public(&item.vis) => {
                    self.define(public, &item.ident.to_string());
                }
                syn::Item::Enum(item) if is_public(&item.vis) => {
                    self.define(public, &item.ident.to_string());
                }
                syn::Item::Use(item) if public && is_public(&item.vis) => {
                    self.visit_use_tree(&item.tree);
                }
                syn::Item::Impl(block) => self.read_impl(block),
                _ => {}
            }
        }
    }

    fn define(&mut self, public_module: bool, name: &str) {
        if public_module {
            self.reachable.insert(name.to_string());
        }
    }

    fn read_impl(&mut self, block: &syn::ItemImpl) {
        let syn::Type::Path(owner) = &*block.self_ty else { return };
        let Some(owner) = owner.path.segments.last() else { return };
        for item in &block.items {
            if let syn::ImplItem::Fn(method) = item
                && (block.trait_.is_some() || is_public(&method.vis))
            {
                let name = format!("{}::{}", owner.ident, method.sig.ident);
                self.functions.push(Function { name, through: owner.ident.to_string() });
            }
        }
    }
}

impl Visit<'_> for Sources {
    fn visit_use_name(&mut self, exported: &syn::UseName) {
        self.reachable.insert(exported.ident.to_string());
    }
}

fn is_public(visibility: &syn::Visibility) -> bool {
    matches!(visibility, syn::Visibility::Public(_))
}

/// Every path in the gate, named in the same way.
#[derive(Default)]
struct Kept {
    names: BTreeSet<String>,
}

impl<'ast> Visit<'ast> for Kept {
    fn visit_expr_path(&mut self, path: &'ast syn::ExprPath) {
        let owner_of_trait_method = path.qself.as_ref().and_then(|qself| match &*qself.ty {
            syn::Type::Path(owner) => owner.path.segments.last(),
            _ => None,
        });
        let mut from_the_end = path.path.segments.iter().rev();
        if let (Some(name), Some(owner)) = (from_the_end.next(), from_the_end.next()) {
            let owner = owner_of_trait_method.unwrap_or(owner);
            self.names.insert(format!("{}::{}", owner.ident, name.ident));
        }
        visit::visit_expr_path(self, path);
    }
}
