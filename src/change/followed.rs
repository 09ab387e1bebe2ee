//! Records that were renamed and edited in one step: told by what they have in common.
//!
//! For who reads a history alone. Nothing is judged by it: the gate, an impact and a decision take such a record for one
//! that is gone and one that came, since having much in common does not make two recipes one.

use super::diff::{Edits, SILENT, diff, short, tree};
use crate::ledger::{Ledger, Records};
use crate::record::{Address, RecordKind};
use serde::Serialize;
use serde_json::Value;

/// Returns what a record was called before some edits: by its name alone, or as `followed` tells.
pub fn called_before((base, head): (&Ledger, &Ledger), edits: &Edits, own: &Address) -> Option<String> {
    let renamed = edits.renamed_of(own.kind()).into_iter().find(|(_, new)| new == own.id());
    renamed.map(|(old, _)| old).or_else(|| followed(base, head, own))
}

/// Returns what differs between two ledgers in a record that had another name, and in all others: the edits where it was
/// only renamed, else those from what it said under the old name.
pub fn edits_of((base, head): (&Ledger, &Ledger), edits: Edits, own: &Address, old: &str) -> Edits {
    let of = (own.kind(), old.to_string());
    if old == own.id() || edits.renamed.contains_key(&of) {
        return edits;
    }
    let mut base = base.clone();
    match own.kind() {
        RecordKind::Recipe => call(&mut base.recipes, old, own.id()),
        RecordKind::Panel => call(&mut base.panels, old, own.id()),
        RecordKind::Assembly => call(&mut base.assemblies, old, own.id()),
        _ => return edits,
    }
    diff(&base, head)
}

fn call<T>(records: &mut Records<T>, old: &str, new: &str) {
    if let Some(mut entry) = records.remove(old) {
        entry.id = new.to_string();
        records.insert(entry.id.clone(), entry);
    }
}

/// Returns what a record of `head` that is not in `base` was called there: the one that is gone and says two thirds of the
/// same, where each of both is the nearest to the other. Recipes, panels and assemblies alone are followed so.
fn followed(base: &Ledger, head: &Ledger, own: &Address) -> Option<String> {
    match own.kind() {
        RecordKind::Recipe => nearest(&base.recipes, &head.recipes, own.id()),
        RecordKind::Panel => nearest(&base.panels, &head.panels, own.id()),
        RecordKind::Assembly => nearest(&base.assemblies, &head.assemblies, own.id()),
        _ => None,
    }
}

fn nearest<'a, T: Serialize>(base: &'a Records<T>, head: &Records<T>, own: &str) -> Option<String> {
    if base.contains_key(own) {
        return None;
    }
    let said = |all: &Records<T>, id: &str| Some(leaves(&tree(&*all.get(id)?.value)));
    let is = said(head, own)?;
    let gone = base.keys().filter(|id| !head.contains_key(*id));
    let near = |id: &'a String| Some((alike(&said(base, id)?, &is)?, id));
    let mut all: Vec<_> = gone.filter_map(near).collect();
    all.sort();
    let (share, old) = all.pop()?;
    // Two that are as near tell nothing.
    if all.last().is_some_and(|(other, _)| *other == share) {
        return None;
    }
    let was = said(base, old)?;
    let come = head.keys().filter(|id| *id != own && !base.contains_key(*id));
    let mut rivals = come.filter_map(|id| alike(&was, &said(head, id)?));
    (!rivals.any(|other| other >= share)).then(|| old.clone())
}

/// How much of what either says both say, in thousandths; `None` where it is less than two thirds, or too little to tell.
fn alike(one: &[String], other: &[String]) -> Option<usize> {
    const LEAST: usize = 3;
    let mut left: Vec<&String> = other.iter().collect();
    let mut same = 0;
    for text in one {
        if let Some(at) = left.iter().position(|own| *own == text) {
            left.swap_remove(at);
            same += 1;
        }
    }
    let most = one.len().max(other.len());
    (same >= LEAST && same * 3 >= most * 2).then(|| same * 1000 / most)
}

/// Everything that a record says of what it is, each with its route; titles and remarks are left out, and where entries of
/// lists stand.
fn leaves(value: &Value) -> Vec<String> {
    let mut all = Vec::new();
    let mut stack = vec![(String::new(), value)];
    while let Some((route, value)) = stack.pop() {
        match value {
            Value::Null => {}
            Value::Object(map) => {
                let told = map.iter().filter(|(key, _)| !SILENT.contains(&key.as_str()));
                stack.extend(told.map(|(key, one)| (format!("{route}.{key}"), one)));
            }
            Value::Array(list) => stack.extend(list.iter().map(|one| (route.clone(), one))),
            other => all.push(format!("{route} {}", short(other))),
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::article::fixture::ledger;

    const BASE: &str = "
ledger: {format: 1, programme: Sanderling amphibian (invented)}
materials: {cw: {kind: fabric, fibre: {name: f, type: carbon, density: 1780 kg/m3, areal: 200 g/m2}}}
processes: {oven: {method: oven}}
recipes:
";
    const SKIN: &str = "{process: oven, layers: [{material: cw, angle: 0}, {material: cw, angle: 45}, {material: cw, angle: 90}, {material: cw, angle: 30}]}";

    fn of(recipes: &[(&str, &str)]) -> Ledger {
        let all: Vec<String> = recipes.iter().map(|(id, text)| format!("  {id}: {text}\n")).collect();
        ledger(&format!("{BASE}{}", all.concat()))
    }

    #[test]
    fn what_is_mostly_the_same_is_followed_and_what_is_not_or_could_be_two_is_not() {
        let turned = SKIN.replace("angle: 30", "angle: 60");
        let other = "{process: oven, layers: [{material: cw, angle: 10}, {material: cw, angle: 20}]}";
        let own = Address::new(RecordKind::Recipe, "b");
        let was = of(&[("a", SKIN)]);
        assert_eq!(followed(&was, &of(&[("b", &turned)]), &own).as_deref(), Some("a"));
        assert_eq!(followed(&was, &of(&[("b", other)]), &own), None);
        // A copy of what is there still is another.
        assert_eq!(followed(&was, &of(&[("a", SKIN), ("b", &turned)]), &own), None);
        // Two that are as near.
        assert_eq!(followed(&of(&[("a", SKIN), ("c", SKIN)]), &of(&[("b", &turned)]), &own), None);
        assert_eq!(followed(&was, &of(&[("b", &turned), ("d", &turned)]), &own), None);
        // A nearer one has it.
        assert_eq!(followed(&was, &of(&[("b", &turned), ("d", SKIN)]), &own), None);
    }
}
