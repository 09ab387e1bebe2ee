//! Rules on what decisions say of themselves: who approved them, when, and by which number they go.

use super::Entry;
use super::known::Known;
use super::sink::Sink;
use super::words::suggest;
use crate::record::{Approval, Decision, DecisionStatus, Text};

/// Returns the number that an id of a decision begins with: 7 of `dd-007-lighter-mesh`.
pub fn number_of(id: &str) -> Option<u32> {
    let rest = id.strip_prefix("dd-")?;
    let digits = rest.split('-').next().unwrap_or_default();
    (!digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit())).then(|| digits.parse().ok())?
}

/// Finds approvals that nobody asked for or that can't have been given then, and decisions that are called approved
/// and are not. None of it stops a commit: the roles that are asked for may change.
pub(super) fn decision(known: Known<'_>, sink: &mut Sink, own: &Entry<Decision>) {
    let decision = &*own.value;
    let rule = known.ledger.head.as_ref().and_then(|head| head.approvals.as_ref());
    let roles = rule.map(|rule| rule.decision.as_slice()).unwrap_or_default();
    odd_roles(sink, &decision.approvals, (roles, "a decision"));
    for (index, approval) in decision.approvals.iter().enumerate() {
        if let Some(raised) = decision.raised.filter(|raised| approval.on < *raised) {
            sink.warning(
                "odd-approval",
                format!("approvals.{}.on", index + 1),
                format!("it was approved on {} and raised on {raised}", approval.on),
            )
            .label("before it was raised")
            .help("correct one of the two days");
        }
    }
    blank_names(sink, &decision.approvals);
    if decision.status == DecisionStatus::Approved {
        let lacks = Approval::lacking(&decision.approvals, roles, rule.and_then(|rule| rule.persons));
        if !lacks.is_empty() {
            sink.warning("not-approved", "status", format!("it says approved, and lacks {}", lacks.join(" and ")))
                .label("no approval behind it")
                .help(match decision.approvals.is_empty() {
                    true => "set it to `proposed` and let `bondline decide approve` write the approvals: the gate counts it as not approved".to_string(),
                    false => format!("`bondline decide approve {} --role ROLE --by NAME` adds what is lacking: until then the gate counts it as not approved", own.id),
                });
        }
    }
    // The first of them keeps the number.
    let Some(number) = number_of(&own.id) else { return };
    if let Some(first) = known.firsts.numbers.get(&number).filter(|first| **first != own.id) {
        sink.warning("same-number", "", format!("{first} has the number {number} too"))
            .label("the second of one number")
            .help(format!("`bondline decide renumber {}` gives it the next one", own.id));
    }
}

/// Finds approvals by roles that nobody asks: they count for nothing.
pub(super) fn odd_roles(sink: &mut Sink, approvals: &[Approval], (roles, of): (&[Text], &str)) {
    let is_odd = |(_, own): &(usize, &Approval)| !roles.is_empty() && !roles.contains(&own.role);
    for (index, approval) in approvals.iter().enumerate().filter(is_odd) {
        let names = roles.iter().map(Text::as_str);
        let help = suggest(approval.role.as_str(), names)
            .unwrap_or_else(|| "write a role that `approvals` of `ledger.yaml` names".to_string());
        sink.warning(
            "odd-approval",
            format!("approvals.{}.role", index + 1),
            format!("the ledger asks for no approval of {of} by `{}`", approval.role),
        )
        .label("not a role that is asked for")
        .help(help);
    }
}

/// Finds approvals whose name is blank: they count as nobody's.
pub(super) fn blank_names(sink: &mut Sink, approvals: &[Approval]) {
    let blank = |(_, own): &(usize, &Approval)| own.by.is_some() && own.is_nameless();
    for (index, _) in approvals.iter().enumerate().filter(blank) {
        sink.warning("odd-approval", format!("approvals.{}.by", index + 1), "it names nobody")
            .label("no name")
            .help("write who approved, or leave `by` out");
    }
}
