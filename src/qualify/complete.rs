//! Completing: the attributes that an older conformed configuration lacks, from the design as it was then.
//!
//! Evidence that was conformed by an older form does not say what a younger form asks about. The commit that
//! it was conformed at still does. What is recorded stays as it is, and must be what would be recorded today:
//! otherwise the commit is not the one, and nothing may be taken from it.

use super::conform::{ConformError, Conformity, flow, worked_out};
use crate::article::{FORM, Key, Limit, Subject};
use crate::ledger::{Entry, Ledger};
use crate::record::edit::{self, EditError, fill};
use crate::record::{AttributeValue, Attributes, Evidence};
use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::sync::Arc;
use thiserror::Error;

/// Why an evidence record can't be completed.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum CompleteError {
    /// There is nothing to complete.
    #[error("evidence/{0} is not conformed")]
    NotConformed(String),
    /// It does not say which commit it was conformed at.
    #[error("evidence/{0} names no commit that it was conformed at")]
    NoCommit(String),
    /// It was conformed by a newer program.
    #[error("evidence/{id} is of form {form}, this program writes {FORM}")]
    Newer {
        /// The evidence.
        id: String,
        /// Its form.
        form: u32,
    },
    /// Its configuration can't be worked out.
    #[error(transparent)]
    Conform(#[from] ConformError),
    /// What is recorded is not what the commit gives.
    #[error("evidence/{id} records {attribute} as {recorded}, but its commit gives {computed}")]
    Differs {
        /// The evidence.
        id: String,
        /// The attribute.
        attribute: String,
        /// As recorded, in words.
        recorded: String,
        /// As the commit gives it, in words.
        computed: String,
    },
    /// An attribute that is lacking has several values.
    #[error("evidence/{id} holds several articles, and they differ in {attribute}, which is not recorded")]
    Several {
        /// The evidence.
        id: String,
        /// The attribute.
        attribute: String,
    },
}

/// What an evidence record lacks.
#[derive(Debug, Clone, PartialEq)]
pub struct Completion {
    /// The evidence's id.
    pub id: String,
    /// The subject.
    pub subject: Subject,
    /// Attributes that are lacking, in the canonical order.
    pub added: Vec<(Key, AttributeValue)>,
    /// The form that it is of then.
    pub form: u32,
    /// What the added attributes take from elsewhere than the record.
    pub assumptions: Vec<String>,
}

impl Completion {
    /// Returns the attributes added, as they are written.
    pub fn rows(&self) -> Vec<(String, String)> {
        self.added.iter().map(|(key, value)| (key.to_string(), flow(value))).collect()
    }

    /// Returns the record's text with the attributes added and every other byte kept but the form's number.
    ///
    /// # Errors
    /// [`EditError`] where the text can't be edited safely, such as attributes all on one line.
    pub fn written_into(&self, text: &str, form: u32) -> Result<String, EditError> {
        let before = |one: &str, two: &str| Key::parse(one).written_order(&Key::parse(two)) == Ordering::Less;
        let text = match self.added.is_empty() {
            true => text.to_string(),
            false => fill(text, "conformed.attributes", &self.rows(), before)?,
        };
        if form == self.form { Ok(text) } else { edit::set(&text, "conformed.form", &self.form.into()) }
    }

    /// Returns whether `new` is `old` with exactly what is lacking added.
    pub fn is_between(&self, old: &Attributes, new: &Attributes) -> bool {
        let mut all = old.clone();
        all.extend(self.added.iter().map(|(key, value)| (key.to_string().into(), value.clone())));
        all.len() == new.len()
            && all.iter().all(|(key, value)| new.get(key).is_some_and(|own| same(own, value)))
    }
}

fn same(one: &AttributeValue, two: &AttributeValue) -> bool {
    one == two || one.to_string() == two.to_string()
}

/// Works out what a conformed record lacks; `design` is the ledger at the commit that the record names.
///
/// # Errors
/// [`CompleteError`] says why nothing may be added.
pub fn completed(design: &Ledger, entry: &Entry<Evidence>) -> Result<Completion, CompleteError> {
    let id = entry.id.clone();
    let Some(conformed) = &entry.value.conformed else { return Err(CompleteError::NotConformed(id)) };
    if conformed.commit.is_none() {
        return Err(CompleteError::NoCommit(id));
    }
    if conformed.form > FORM {
        return Err(CompleteError::Newer { id, form: conformed.form });
    }
    let made = worked_out(design, &as_of_then(design, entry), None)?;
    let recorded: BTreeMap<Key, &AttributeValue> =
        conformed.attributes.iter().map(|(name, value)| (Key::parse(name), value)).collect();
    let computed: BTreeMap<Key, &AttributeValue> =
        made.configuration.in_order().into_iter().map(|(key, value)| (*key, value)).collect();
    let differs = |key: &Key, recorded: Option<&AttributeValue>, computed: Option<&AttributeValue>| {
        let (recorded, computed) = (quoted(recorded), quoted(computed));
        CompleteError::Differs { id: id.clone(), attribute: key.to_string(), recorded, computed }
    };
    for (key, value) in &recorded {
        let own = computed.get(key).copied();
        if own.is_none_or(|own| !same(own, value)) {
            return Err(differs(key, Some(value), own));
        }
    }
    let mut added: Vec<(Key, AttributeValue)> = Vec::new();
    for (key, value) in made.configuration.in_order() {
        if recorded.contains_key(key) {
            continue;
        }
        // Where the nominal is recorded, that it has no limits is recorded too.
        if key.limit != Limit::Nominal && recorded.contains_key(&key.limit(Limit::Nominal)) {
            return Err(differs(key, None, Some(value)));
        }
        added.push((*key, value.clone()));
    }
    tested_as_recorded(entry, &made)?;
    others_as_recorded(entry, &made, &added)?;
    // What is taken from the panels concerns claims and tools; the rest stands in the records.
    let any = |facet: &str| added.iter().any(|(key, _)| key.facet() == facet);
    let (claims, tools) = (any("claims"), any("tool"));
    let mut assumptions = made.assumptions;
    assumptions.retain(|one| match (one.contains("names no tool"), one.contains("taken from the panels")) {
        (true, _) => tools,
        (false, panels) => panels && claims,
    });
    Ok(Completion { id: entry.id.clone(), subject: made.subject, added, form: FORM, assumptions })
}

fn quoted<T: ToString>(value: Option<T>) -> String {
    value.map_or_else(|| "nothing".to_string(), |value| format!("`{}`", value.to_string()))
}

/// The record under the names that it had then: its label may have followed a rename since.
fn as_of_then(design: &Ledger, entry: &Entry<Evidence>) -> Entry<Evidence> {
    let mut value = (*entry.value).clone();
    if let Some(then) = design.evidence.get(&entry.id) {
        value.subject.clone_from(&then.value.subject);
        value.showing.clone_from(&then.value.showing);
    }
    Entry { value: Arc::new(value), ..entry.clone() }
}

fn tested_as_recorded(entry: &Entry<Evidence>, made: &Conformity) -> Result<(), CompleteError> {
    let Some(recorded) = entry.value.conformed.as_ref().and_then(|conformed| conformed.tested.as_ref())
    else {
        return Ok(());
    };
    let text = |own: &Option<crate::record::Text>| own.as_ref().map(ToString::to_string);
    let all = [
        ("temperature", recorded.temperature.as_ref().map(|own| own.canonical("degC"))),
        ("moisture", text(&recorded.moisture)),
        ("lightning", text(&recorded.lightning)),
        ("zone", text(&recorded.zone)),
    ];
    for (name, recorded) in all {
        let computed = made.tested.iter().find(|(own, _)| *own == name).map(|(_, value)| value.to_string());
        if recorded.is_some() && recorded != computed {
            return Err(CompleteError::Differs {
                id: entry.id.clone(),
                attribute: format!("tested.{name}"),
                recorded: quoted(recorded),
                computed: quoted(computed),
            });
        }
    }
    Ok(())
}

fn others_as_recorded(
    entry: &Entry<Evidence>,
    made: &Conformity,
    added: &[(Key, AttributeValue)],
) -> Result<(), CompleteError> {
    let Some(conformed) = &entry.value.conformed else { return Ok(()) };
    let is_added = |name: &String| added.iter().any(|(key, _)| key.to_string() == *name);
    for other in &made.others {
        if let Some(attribute) = other.keys().find(|name| is_added(name)) {
            return Err(CompleteError::Several { id: entry.id.clone(), attribute: attribute.clone() });
        }
    }
    let equal = conformed.others.len() == made.others.len()
        && conformed.others.iter().zip(&made.others).all(|(one, two)| {
            one.len() == two.len()
                && one.iter().all(|(key, value)| two.get(key).is_some_and(|own| same(own, value)))
        });
    if equal {
        return Ok(());
    }
    let (recorded, computed) = match (conformed.others.len(), made.others.len()) {
        (one, two) if one == two => ("these".to_string(), "others".to_string()),
        (one, two) => (format!("{one} further articles"), format!("{two}")),
    };
    Err(CompleteError::Differs { id: entry.id.clone(), attribute: "others".to_string(), recorded, computed })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::qualify::tests::{base, today};
    use crate::qualify::verdict::evaluate;
    use crate::record::sensitivity::Asks;

    /// The record as an older program would have left it: without what starts with one of these.
    fn older(ledger: &Ledger, id: &str, lacking: &[&str]) -> Entry<Evidence> {
        let mut entry = ledger.evidence[id].clone();
        let value = Arc::make_mut(&mut entry.value);
        let conformed = value.conformed.as_mut().unwrap();
        conformed.form = 0;
        conformed.attributes.retain(|key, _| !lacking.iter().any(|word| key.starts_with(word)));
        entry
    }

    #[test]
    fn what_is_lacking_is_added_as_it_was() {
        let ledger = base();
        let whole = ledger.evidence["e-etw"].value.conformed.clone().unwrap();
        let entry = older(&ledger, "e-etw", &["weave", "resin.name", "cure.vacuum"]);
        let found = completed(&ledger, &entry).unwrap();
        let names: Vec<String> = found.added.iter().map(|(key, _)| key.to_string()).collect();
        assert_eq!(names, ["weave.form.a", "weave.thickness.a", "resin.name.a", "cure.vacuum"]);
        let old = entry.value.conformed.clone().unwrap();
        assert!(found.is_between(&old.attributes, &whole.attributes));
        assert!(!found.is_between(&old.attributes, &old.attributes));
        let mut wrong = whole.attributes.clone();
        wrong.insert("cure.vacuum".into(), AttributeValue::one("95000 Pa"));
        assert!(!found.is_between(&old.attributes, &wrong));
        // The text: what was there stays byte by byte, but for the number of the form.
        let text = serde_yaml::to_string(&*entry.value).unwrap();
        let new = found.written_into(&text, old.form).unwrap();
        let read: Evidence = serde_yaml::from_str(&new).unwrap();
        assert_eq!(read.conformed.unwrap().attributes, whole.attributes);
        let left: Vec<&str> = new
            .lines()
            .filter(|line| !names.iter().any(|name| line.trim().starts_with(&format!("{name}:"))))
            .collect();
        assert_eq!(left.join("\n").replace("form: 1", "form: 0"), text.trim_end());
        let again = completed(&ledger, &ledger.evidence["e-etw"]).unwrap();
        assert!(again.added.is_empty(), "nothing is lacking: {:?}", again.added);
    }

    #[test]
    fn another_design_than_the_recorded_one_gives_nothing() {
        let ledger = base();
        let mut entry = older(&ledger, "e-etw", &["weave"]);
        let conformed = Arc::make_mut(&mut entry.value).conformed.as_mut().unwrap();
        conformed.attributes.insert("fibre-areal.a".into(), AttributeValue::one("195 g/m2"));
        let fault = completed(&ledger, &entry).unwrap_err();
        assert_eq!(
            fault.to_string(),
            "evidence/e-etw records fibre-areal.a as `195 g/m2`, but its commit gives `200 g/m2`"
        );
    }

    #[test]
    fn a_tolerance_that_was_not_recorded_and_articles_that_were_not_made_are_differences() {
        let ledger = base();
        let entry = older(&ledger, "e-etw", &["weave"]);
        let mut wider = ledger.clone();
        let material = Arc::make_mut(&mut wider.materials.get_mut("cw-200").unwrap().value);
        let resin = material.resin.as_mut().unwrap();
        resin.content = serde_yaml::from_str("37 % +/- 2 %").unwrap();
        let fault = completed(&wider, &entry).unwrap_err();
        assert_eq!(
            fault.to_string(),
            "evidence/e-etw records resin-content.low.a as nothing, but its commit gives `35 %`"
        );
        let mut several = entry.clone();
        let conformed = Arc::make_mut(&mut several.value).conformed.as_mut().unwrap();
        conformed
            .others
            .push(BTreeMap::from([("fibre-areal.a".to_string(), AttributeValue::one("190 g/m2"))]));
        assert!(matches!(
            completed(&ledger, &several),
            Err(CompleteError::Differs { attribute, .. }) if attribute == "others"
        ));
    }

    #[test]
    fn without_commit_or_configuration_it_is_refused() {
        let ledger = base();
        let mut entry = older(&ledger, "e-etw", &["weave"]);
        Arc::make_mut(&mut entry.value).conformed.as_mut().unwrap().commit = None;
        assert_eq!(completed(&ledger, &entry), Err(CompleteError::NoCommit("e-etw".to_string())));
        Arc::make_mut(&mut entry.value).conformed = None;
        assert_eq!(completed(&ledger, &entry), Err(CompleteError::NotConformed("e-etw".to_string())));
    }

    #[test]
    fn what_an_older_form_lacks_asks_nothing_and_is_an_assumption_but_for_lightning() {
        let mut ledger = base();
        for id in ["e-etw", "e-zap"] {
            let entry = older(&ledger, id, &["weave", "claims.lightning", "claims.zone"]);
            ledger.evidence.insert(id.to_string(), entry);
        }
        let judged = evaluate(&ledger, today()).unwrap();
        let verdict = |showing: &str| {
            let duty = judged.duties.values().find(|duty| duty.showing == showing).unwrap();
            (duty.verdict().word(), duty.asks())
        };
        assert_eq!(verdict("tension-etw"), ("met", Asks::None));
        assert_eq!(verdict("zap"), ("lapsed", Asks::Retest));
        let said = |words: &str| judged.assumptions.iter().any(|one| one.contains(words));
        assert!(
            said("evidence/e-etw does not record weave.form.a (form 0): nothing is asked for it"),
            "{:?}",
            judged.assumptions
        );
    }
}
