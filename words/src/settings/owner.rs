//! What owners are told about their settings.

use packstaff_settings::carry::{Carrier, Fate, Matrix, Outcome, Plan};
use packstaff_settings::layout::{Kind, Way};
use std::collections::BTreeSet;

/// Sentences about settings and about calibration.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sentences {
    /// About settings.
    pub settings: Vec<String>,
    /// About the calibration.
    pub calibration: Vec<String>,
}

/// What happens to settings and calibration on the way to a version, from each version that is gone from, and on the way back.
pub fn owners_sentences(matrix: &Matrix, version: &str) -> Sentences {
    let mut sentences = Sentences::default();
    for plan in matrix
        .plans
        .iter()
        .filter(|plan| plan.to == version && plan.way == Way::Up)
    {
        coming(plan, &mut sentences);
    }
    let mut told = BTreeSet::new();
    for plan in matrix
        .plans
        .iter()
        .filter(|plan| plan.from == version && plan.way == Way::Down)
    {
        going_back(plan, &mut told, &mut sentences);
    }
    sentences
}

fn coming(plan: &Plan, sentences: &mut Sentences) {
    let from = &plan.from;
    match &plan.carrier {
        Carrier::Unchanged => {
            sentences
                .settings
                .push(format!("From version {from}: all settings stay exactly as they are."));
            return;
        }
        Carrier::Nobody { because } => {
            let reason = because.as_deref().unwrap_or("This version cannot read them.");
            sentences
                .settings
                .push(format!("From version {from}: settings are not taken over. {reason}"));
            sentences.calibration.push(format!(
                "From version {from}: the calibration is not taken over. {reason}"
            ));
            return;
        }
        Carrier::Keeper | Carrier::Firmware => {}
    }
    let of_owner = |fate: &&Fate| matches!(fate.kind, Kind::Preference | Kind::Counter | Kind::Secret);
    let with = |outcome: Outcome| {
        plan.fates
            .iter()
            .filter(of_owner)
            .filter(move |fate| fate.outcome == outcome)
    };
    let mut words =
        format!("From version {from}: all settings are taken over when this version starts for the first time");
    let lost: Vec<String> = plan
        .lost
        .iter()
        .filter(|lost| lost.kind != Kind::Calibration)
        .map(|lost| match &lost.because {
            Some(because) => format!("{} ({because})", lost.means),
            None => lost.means.clone(),
        })
        .collect();
    if !lost.is_empty() {
        words = format!("{words}, but not: {}", unique(lost).join("; "));
    }
    let converted: Vec<String> = with(Outcome::Converted)
        .filter(|fate| shows(fate))
        .map(|fate| fate.means.clone())
        .collect();
    if !converted.is_empty() {
        words = format!(
            "{words}. Converted to other units or steps: {}",
            unique(converted).join(", ")
        );
    }
    let new: Vec<String> = with(Outcome::Defaulted)
        .map(|fate| match fate.becomes.as_deref() {
            Some(value) if fate.elements.1 == 1 => format!("{}, which is {value} at first", fate.means),
            _ => fate.means.clone(),
        })
        .collect();
    if !new.is_empty() {
        words = format!("{words}. New, so look at it: {}", unique(new).join("; "));
    }
    sentences.settings.push(format!("{words}."));
    let calibration: Vec<&Fate> = plan
        .fates
        .iter()
        .filter(|fate| fate.kind == Kind::Calibration)
        .collect();
    let carried: Vec<&&Fate> = calibration.iter().filter(|fate| fate.was.is_some()).collect();
    let lost: Vec<String> = plan
        .lost
        .iter()
        .filter(|lost| lost.kind == Kind::Calibration)
        .map(|lost| {
            format!(
                "{} ({})",
                lost.means,
                lost.because.as_deref().unwrap_or("no reason given")
            )
        })
        .collect();
    if !carried.is_empty() {
        let names = unique(carried.iter().map(|fate| fate.means.clone()).collect()).join(", ");
        let how = match carried.iter().any(|fate| shows(fate)) {
            true => "is kept; its values are converted and mean the same",
            false => "is kept, value for value",
        };
        sentences
            .calibration
            .push(format!("From version {from}: your unit's calibration ({names}) {how}."));
    }
    if !lost.is_empty() {
        sentences
            .calibration
            .push(format!("From version {from}: not kept is {}.", unique(lost).join("; ")));
    }
}

/// Whether an owner would see other numbers.
fn shows(fate: &Fate) -> bool {
    use packstaff_settings::carry::Change;
    fate.changes.iter().any(|change| {
        matches!(
            change,
            Change::Unit { .. }
                | Change::Rescaled { .. }
                | Change::Formula { .. }
                | Change::NamesRenamed(_)
                | Change::Coarser { .. }
        )
    })
}

fn going_back(plan: &Plan, told: &mut BTreeSet<String>, sentences: &mut Sentences) {
    let to = &plan.to;
    match &plan.carrier {
        Carrier::Unchanged => {}
        Carrier::Nobody { because } => {
            let reason = because
                .clone()
                .unwrap_or_else(|| "That version cannot read these settings.".to_owned());
            if told.insert(reason.clone()) {
                sentences.settings.push(format!("Going back to version {to}: {reason}"));
            }
        }
        Carrier::Keeper | Carrier::Firmware => {
            let lost = unique(plan.lost.iter().map(|lost| lost.means.clone()).collect());
            let aside = plan.lost.iter().all(|lost| lost.aside);
            let words = match (lost.is_empty(), aside) {
                (true, _) => "settings are taken back with it".to_owned(),
                (false, true) => format!(
                    "settings are taken back with it. What that version does not have is kept aside and comes back with this one: {}",
                    lost.join(", ")
                ),
                (false, false) => format!("settings are taken back with it, but not: {}", lost.join(", ")),
            };
            sentences.settings.push(format!("Going back to version {to}: {words}."));
        }
    }
}

/// Each once, in the order of their first coming.
fn unique(words: Vec<String>) -> Vec<String> {
    let mut seen = BTreeSet::new();
    words.into_iter().filter(|word| seen.insert(word.clone())).collect()
}
