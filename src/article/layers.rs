//! A recipe's layers as they lie: mirrored out, each with its material and role.

use crate::ledger::{Entry, Ledger};
use crate::record::{Address, Layer, Material, MaterialKind, Mirror, Recipe, RecordKind};
use thiserror::Error;

/// A record that is needed for the answer can't be had.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum ArticleError {
    /// The record is missing, or left out for its faults.
    #[error("`{needed}` is needed by `{by}` but cannot be read; `bondline check` says why")]
    Missing {
        /// The record that is needed.
        needed: Address,
        /// The record that needs it.
        by: Address,
    },
    /// A figure that the answer needs is not written.
    #[error("`{address}` does not say `{field}`")]
    Unstated {
        /// The record.
        address: Address,
        /// The key.
        field: String,
    },
    /// What is written cannot be: outside the range of any laminate, or against itself.
    #[error("the figures of `{address}` cannot be used: {problem}")]
    Unfit {
        /// The record.
        address: Address,
        /// Why, in words.
        problem: String,
    },
}

/// What a layer is in the stack.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LayerRole {
    /// Reinforced ply.
    Ply,
    /// Core.
    Core,
    /// Film adhesive.
    Film,
    /// Mesh.
    Mesh,
    /// Surfacing film.
    Surfacing,
    /// Anything else that was put in the list.
    Other,
}

impl LayerRole {
    /// Returns the letter that configurations name such constituents by.
    pub fn letter(self) -> char {
        match self {
            LayerRole::Ply => 'a',
            LayerRole::Core => 'c',
            LayerRole::Film => 'f',
            LayerRole::Mesh => 'm',
            LayerRole::Surfacing => 's',
            LayerRole::Other => 'o',
        }
    }

    /// Returns the word for it.
    pub fn word(self) -> &'static str {
        match self {
            LayerRole::Ply => "ply",
            LayerRole::Core => "core",
            LayerRole::Film => "film",
            LayerRole::Mesh => "mesh",
            LayerRole::Surfacing => "surfacing",
            LayerRole::Other => "layer",
        }
    }
}

/// Returns the role of a material in a stack.
pub fn layer_role(kind: MaterialKind) -> LayerRole {
    match kind {
        MaterialKind::Fabric | MaterialKind::Prepreg => LayerRole::Ply,
        MaterialKind::Core => LayerRole::Core,
        MaterialKind::Adhesive => LayerRole::Film,
        MaterialKind::Mesh => LayerRole::Mesh,
        MaterialKind::Surfacing => LayerRole::Surfacing,
        _ => LayerRole::Other,
    }
}

/// One layer as it lies in the part.
#[derive(Debug, Clone, Copy)]
pub struct StackLayer<'a> {
    /// Its entry in the recipe.
    pub layer: &'a Layer,
    /// Place of the entry in the recipe's list, from 1.
    pub place: usize,
    /// Its material.
    pub material: &'a Entry<Material>,
    /// Its role.
    pub role: LayerRole,
}

/// Returns the layers of a recipe from the tool face inward, mirrored out.
///
/// # Errors
/// [`ArticleError::Missing`] for the first material that can't be had.
pub fn expand<'a>(
    ledger: &'a Ledger,
    recipe: &'a Entry<Recipe>,
) -> Result<Vec<StackLayer<'a>>, ArticleError> {
    let mut list = Vec::with_capacity(recipe.value.layers.len() * 2);
    for (at, layer) in recipe.value.layers.iter().enumerate() {
        let material = ledger.materials.get(layer.material.id()).ok_or_else(|| ArticleError::Missing {
            needed: layer.material.address(),
            by: Address::new(RecordKind::Recipe, recipe.id.clone()),
        })?;
        list.push(StackLayer { layer, place: at + 1, material, role: layer_role(material.value.kind) });
    }
    let skip = match recipe.value.mirror {
        None | Some(Mirror::None) => return Ok(list),
        Some(Mirror::All) => 0,
        Some(Mirror::AboutLast) => 1,
    };
    let back: Vec<_> = list.iter().rev().skip(skip).copied().collect();
    list.extend(back);
    Ok(list)
}
