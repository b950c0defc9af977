//! The gate proves nothing about a function it does not keep: every public function of the core, and every
//! method of a trait that the core implements by hand, must have its line.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use syn::visit::{self, Visit};

#[test]
fn every_public_function_of_the_core_has_its_line_in_the_gate() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut core = PublicFunctions::default();
    core.read_module(&here.join("../../core/src"), "lib");
    let mut kept = Kept::default();
    kept.visit_file(&parse(&here.join("src/entry_points.rs")));

    assert!(core.names.len() > 20, "found only {:?} in the core", core.names);
    let missing: Vec<_> = core.names.difference(&kept.names).collect();
    assert!(missing.is_empty(), "add to boards/link-gate/src/entry_points.rs: {missing:#?}");
}

fn parse(path: &Path) -> syn::File {
    let text = fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    syn::parse_file(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Names as `module::function` or `Type::method`, without generic arguments.
#[derive(Default)]
struct PublicFunctions {
    names: BTreeSet<String>,
}

impl PublicFunctions {
    /// The module `name`, a file in `folder`, and the modules below it.
    fn read_module(&mut self, folder: &Path, name: &str) {
        let file = parse(&folder.join(format!("{name}.rs")));
        let below = if name == "lib" { folder.to_path_buf() } else { folder.join(name) };
        for item in &file.items {
            match item {
                syn::Item::Mod(module) if module.content.is_none() => {
                    self.read_module(&below, &module.ident.to_string());
                }
                syn::Item::Fn(function) if is_public(&function.vis) => {
                    self.names.insert(format!("{name}::{}", function.sig.ident));
                }
                syn::Item::Impl(block) => self.read_impl(block),
                _ => {}
            }
        }
    }

    fn read_impl(&mut self, block: &syn::ItemImpl) {
        let syn::Type::Path(owner) = &*block.self_ty else { return };
        let Some(owner) = owner.path.segments.last() else { return };
        for item in &block.items {
            if let syn::ImplItem::Fn(method) = item
                && (block.trait_.is_some() || is_public(&method.vis))
            {
                self.names.insert(format!("{}::{}", owner.ident, method.sig.ident));
            }
        }
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
