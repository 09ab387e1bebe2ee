//! Every rule that `check` and the gate can name: what it means and what mends it as a rule.
//!
//! A finding says more, with its names and figures; this is what a host of findings shows beside all of one rule.

use crate::record::Level;

/// One rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rule {
    /// The word in brackets behind `error`, `warning`, `note`, `blocks` or `warns`.
    pub name: &'static str,
    /// How grave it is as a rule; a finding may be less so.
    pub level: Level,
    /// What is so, in one sentence.
    pub means: &'static str,
    /// What mends it, in one sentence.
    pub mend: &'static str,
}

/// Finds a rule by its word.
pub fn rule(name: &str) -> Option<&'static Rule> {
    RULES.iter().find(|rule| rule.name == name)
}

const fn error(name: &'static str, means: &'static str, mend: &'static str) -> Rule {
    Rule { name, level: Level::Error, means, mend }
}

const fn warning(name: &'static str, means: &'static str, mend: &'static str) -> Rule {
    Rule { name, level: Level::Warning, means, mend }
}

const fn note(name: &'static str, means: &'static str, mend: &'static str) -> Rule {
    Rule { name, level: Level::Note, means, mend }
}

/// All rules, by name.
#[rustfmt::skip] // A row a line reads as the table that it is.
pub const RULES: &[Rule] = &[
    error("altered-evidence", "Finished evidence or its data was changed.", "Restore it, and record a correction as a new record that supersedes it."),
    warning("angle-without-ply", "A layer that is no ply has an angle.", "Take the angle out."),
    error("bad-address", "An address is not of the form KIND/ID#ROUTE.", "Write the kind, the id and the place in the record."),
    error("bad-change", "An entry of `changes` does not say one thing to do.", "Write one of set, remove, insert, add and drop in each entry."),
    error("bad-data", "A line or column of a data file can't be read.", "Correct the line that is named."),
    error("bad-day", "A day is not written year-month-day.", "Write it as 2026-06-01."),
    error("bad-id", "A file's name is no id.", "Rename it: ids are lower-case letters, digits and `-`."),
    error("bad-import", "An import is not said as one can be.", "Write its name, the folder of its repository beside or below this one, and a commit."),
    error("bad-nominal", "A nominal value to normalise to is in another unit or out of its range.", "Write it as the finding shows."),
    error("bad-quantity", "A quantity can't be read.", "Write a number, a unit, and where wanted a tolerance or limits."),
    error("bad-reference", "A reference is no id of a record.", "Write the id of the record that is meant."),
    error("bad-share", "A share is out of its range.", "Write a share that can be kept."),
    error("bad-steps", "The steps of a sensitivity are out of order.", "Put the step without a condition last."),
    error("bad-subject", "A subject does not name exactly one thing.", "Write one of its keys."),
    error("bad-trial", "An exposure trial is not said as it can be read.", "Write what the finding asks for."),
    error("bad-value", "A value is none that its key takes.", "Write one of those that the finding names."),
    error("bad-variation", "An entry of `vary` does not say one way to vary.", "Write among, or from and to, or drop."),
    error("bad-yaml", "The text is no YAML.", "Correct the place that is marked."),
    warning("basis-not-asked", "A strength that something relies on is accepted on its mean.", "Write the basis that is asked."),
    warning("bond-route", "A joint's materials were never proved by its bonding route.", "Prove the route, or use one that is proved."),
    error("broken-record", "A record can't be used, so nothing can be said of what rests on it.", "Mend the record."),
    warning("byte-order-mark", "The file begins with a byte order mark.", "Save it as UTF-8 without one."),
    error("changed-since", "The changes of a decision are not those that were proposed or approved.", "Take the edit back, or propose and approve it again."),
    error("check-not-computed", "A showing that is proved names a computed check.", "Take `check` out, or make it `kind: computed`."),
    error("circle", "Records use one another in a circle.", "Take one of the references out."),
    warning("class-mismatch", "A structural panel is made of a recipe that is not structural.", "Name a structural recipe, or change the panel's class."),
    error("conflict-marker", "A merge is not settled in this file.", "Keep what is right of both sides and take the marks out."),
    warning("covers-nothing", "A concession bounds what no evidence of its showing has anything like.", "Write the attribute whole, and the bound in its unit."),
    error("criterion-not-computed", "A computed showing has a criterion that its check does not judge.", "Write the key that the check judges."),
    note("designation-defaults", "A material has no designation; its id stands for it.", "Write its designation."),
    warning("digest-differs", "A data file is no longer what it was when conformed.", "Restore it, or record a correction as a new record."),
    error("duplicate-id", "Two files are the same record.", "Rename one of them."),
    error("duplicate-key", "A key stands twice in one map.", "Keep one of the two."),
    error("duplicate-milestone", "A milestone is listed twice.", "Take one out."),
    error("duplicate-name", "Two entries of one list have the same name.", "Name one of them otherwise."),
    error("empty-criterion", "A showing accepts anything.", "Write at least one criterion."),
    error("empty-file", "Nothing is written in this file.", "Write the record, or take the file away."),
    error("empty-list", "A list that must name something is empty.", "Name at least one entry, or take the key out."),
    error("exactly-one", "Exactly one of several keys has to stand here.", "Keep one of them."),
    error("expired-concession", "A released panel leans on a concession that has ended or is used up.", "Prove the duty, or have a new concession approved."),
    error("finish-on-sheet", "A zone of solid sheet has a finish.", "Take the finish out, or make a zone of the painted part."),
    warning("folder-name", "A folder or file stands where it is not read.", "Give it the name that the finding shows."),
    error("format-newer", "The ledger is of a newer format than this program reads.", "Use a later version."),
    note("format-older", "The ledger is of an older format, which is read as it was meant.", "Nothing need be done."),
    error("format-unknown", "There is no such format of ledgers.", "Write the format that the finding names."),
    warning("future-day", "Something is said to have come on a day that lies ahead.", "Correct the day."),
    warning("implausible", "A figure lies far outside the usual.", "Check its unit; where it is right, leave it."),
    warning("import-behind", "The commit of an import is not the one that its repository is at.", "Name the newer commit, and look at what it changes first."),
    note("import-left-out", "Records of an import ask for what is not here, and are left out.", "Take their kinds too, or write the records that they ask for."),
    error("import-missing", "Nothing can be taken from an import: its repository, commit or ledger is not there.", "Clone or fetch it, or correct its path, commit or folder."),
    warning("joint-without-proof", "A joint weighs, but nothing is asked to prove it.", "Write what it lacks."),
    error("key-not-for-kind", "A key does not belong to this kind of record.", "Take it out, or correct the kind."),
    warning("lapsed-evidence", "A duty that was met is lapsed by the change.", "Prove it again, concede it, or undo the change."),
    error("link-in-ledger", "A link stands in the ledger; links are not followed.", "Put the file itself there."),
    warning("load-without-stack", "A panel carries loads, but no zone of it is a laminate.", "Give the zone that carries them its recipe."),
    error("milestone-not-earned", "A milestone is claimed, and a duty that it needs is not met.", "Leave `reached` where it was until it is."),
    error("missing-angle", "A ply has no angle.", "Write it in degrees."),
    error("missing-baseline", "Evidence that extends other evidence names none.", "Write its baseline."),
    error("missing-column", "Data lacks a column that is needed.", "Add the column."),
    error("missing-data", "A data file is not there.", "Put it there, or correct its path."),
    error("missing-head", "There is no `ledger.yaml` that can be read.", "Write one with `format` and `programme`."),
    error("missing-key", "A key that is needed is lacking or has no value.", "Write it."),
    error("missing-mass", "Something can't be weighed.", "Write the mass that is lacking."),
    error("missing-nominal", "No record says the nominal value to normalise to.", "Write it."),
    error("missing-resin", "A dry fabric has no resin.", "Write the recipe's resin and its content."),
    warning("missing-stiffness", "A stiffness that a computed check needs is lacking.", "Write it in the material."),
    error("missing-thickness", "A thickness is lacking.", "Write it."),
    error("missing-unit", "A number stands without a unit.", "Write the unit behind it."),
    warning("missing-was", "A proposed change does not say what stands there now.", "Write `was`."),
    note("more-faults", "The file has more faults than are shown.", "Mend those that are shown first."),
    error("name-in-use", "A former name of a record is another record's name now.", "Name one of them otherwise."),
    error("negative-margin", "A margin of a released panel is negative, or can't be computed any more.", "Undo the change, or make the structure carry it."),
    error("no-cause", "A disposition names no cause.", "Write what went wrong, or take it out."),
    warning("no-result", "Finished evidence has neither data nor a result.", "Write one of them."),
    error("not-a-file", "Something else than a plain file stands here.", "Put a plain file there, or take it away."),
    error("not-a-map", "A record does not begin with keys and values.", "Write `KEY: VALUE` lines."),
    error("not-a-stress", "What is no stress can't be normalised.", "Take `normalise` out, or correct the criterion's unit."),
    warning("not-approved", "A decision is called approved, and not all that the ledger asks for have approved it.", "Add what is lacking with `bondline decide approve`, or set its status to `proposed`."),
    warning("not-fibre-dominated", "A property that is not known to be fibre-dominated is normalised.", "Take `normalise` out, or say why it may be."),
    warning("not-read", "A file is not read: records end in `.yaml`.", "Rename it."),
    error("not-utf8", "The file is not UTF-8.", "Save it as UTF-8."),
    error("nul-byte", "A NUL byte stands in the text.", "Save it as plain UTF-8 text."),
    warning("odd-approval", "An approval is of a role that is not asked for, or of a day before the decision was raised; or all have approved what is called proposed.", "Correct it, or take it out; or have the last one approve again."),
    warning("odd-exposure", "A word of exposure is no lightning zone, or it is written almost like another that is known or said more often.", "Correct the word."),
    warning("odd-maturity", "A panel is called weighed, and there is no weighing of it.", "Weigh a piece of it, or call it calculated."),
    warning("odd-serial", "A concession names a serial twice, one of another panel, or one that is on record in another way of writing.", "Correct the serial."),
    warning("open-section", "The walls of a section close no cell.", "Let them run round each cell."),
    error("other-condition", "Specimens were tested in another condition than is asked.", "Give each condition a showing of its own, or correct it."),
    error("out-of-range", "A figure lies outside its range.", "Correct it."),
    error("outside-ledger", "A path leads out of the ledger.", "Put the file into the ledger."),
    warning("over-budget", "A group, assembly or panel is over its budget or limit.", "Take mass out, or have the budget changed."),
    warning("piece-on-hold", "A piece is further off its predicted mass than is let go.", "Weigh again, or decide what becomes of it."),
    warning("price-unit", "A price is for a unit that can't be counted.", "Write it for a unit that it is bought by."),
    error("recipe-or-sheet", "A zone has both a recipe and a sheet, or neither.", "Write one of the two."),
    warning("repeated-weighing", "Two weighings are of the same piece, stage and day; the first counts.", "Correct one of them, or take it out."),
    warning("reserved-name", "A file's name can't be stored on every system.", "Rename it."),
    warning("same-number", "Two decisions have one number.", "Give one of them the next, with `bondline decide renumber`."),
    error("several-documents", "The file holds more than one document.", "Give each record a file of its own."),
    error("shared-batch", "Two data files use the same label of a batch.", "Where it is not the same lot, name one otherwise."),
    warning("stale-decision", "An open decision can't be carried out as the records stand.", "Bring it up to them with `bondline decide rebase`."),
    warning("stale-study", "A study varies a place that is not there.", "Correct the place."),
    error("tab-indentation", "A tab stands in the indentation.", "Indent with blanks."),
    warning("thickness-differs", "A cured thickness is not what its constituents give.", "Correct one of them."),
    error("thickness-not-for-kind", "A layer says how thick it is, and its material takes no thickness from a recipe.", "Take it out."),
    error("too-deep", "Values are nested too deep.", "Look for a bracket that is not closed."),
    error("too-large", "The file is too large for a record.", "Put test data into a CSV file."),
    error("too-many-aliases", "YAML aliases are used too often.", "Write the values out."),
    error("unexplained-change", "Something that releases rest on was changed without an approved decision.", "Write a decision and have it approved before."),
    warning("unexplained-residual", "A piece is off its predicted mass and nobody says why.", "Write `explained`, or weigh again."),
    warning("unit-assumed", "A data file does not say the unit of its values.", "Write it in the header."),
    error("unknown-attribute", "There is no such attribute of a configuration.", "Correct the name."),
    error("unknown-facet", "There is no such facet.", "Correct the name."),
    warning("unknown-group", "Nothing is in a group that has a budget or that a showing is asked of, or a panel is in one that is written almost like such a group.", "Correct the name."),
    error("unknown-key", "There is no such key here.", "Correct it, or take it out."),
    error("unknown-milestone", "There is no such milestone.", "Correct the name, or list it in `ledger.yaml`."),
    error("unknown-policy", "There is no such rule of the gate.", "Correct the name."),
    error("unknown-reference", "No record is called so.", "Correct the id, or write the record."),
    error("unknown-showing-kind", "There is no such kind of showing.", "Write one that is known."),
    warning("unknown-support", "No plate held so is computed here.", "Write a support that is computed."),
    error("unknown-unit", "There is no such unit.", "Write one that is known."),
    error("unqualified-recipe", "A released panel rests on a duty that is neither met nor conceded.", "Prove it, concede it for named serials, or undo the change."),
    error("unreadable", "A file can't be read.", "Make it readable, or take it away."),
    error("unreadable-record", "A record can't be read.", "Compare it with the schema of its kind."),
    warning("unused-resin", "A recipe has a resin that no fabric takes.", "Take it out."),
    error("weakened-requirement", "A requirement was lowered without an approved decision.", "Write a decision that changes it, and have it approved before."),
    warning("wet-above-dry", "A wet glass transition lies above the dry one.", "Correct one of them."),
    error("wrong-baseline", "A baseline can't be one for this evidence.", "Name a test of the same showing that stands by itself."),
    error("wrong-currency", "A sum is not in the ledger's currency.", "Write it in that."),
    error("wrong-dimension", "A quantity measures something else than is asked.", "Write it in a unit that fits."),
    error("wrong-material-kind", "A material of another kind is named.", "Name one of the kind that is asked."),
    error("wrong-reference-kind", "A reference names another kind of record.", "Write the id of the kind that is asked."),
    error("wrong-subject", "A showing of this kind can't be about this subject.", "Write a subject that fits."),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rules_stand_in_order_and_read_as_sentences() {
        assert!(RULES.is_sorted_by(|one, two| one.name < two.name));
        for own in RULES {
            assert!(own.means.ends_with('.') && own.mend.ends_with('.'), "{}", own.name);
        }
        for (name, _) in crate::gate::RULES {
            assert!(rule(name).is_some(), "{name} has no words");
        }
        assert!(rule("no-such-rule").is_none());
    }
}
