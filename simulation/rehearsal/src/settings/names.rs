//! What settings are called in a story: nobody reads a thousand bytes.

use super::{Ideal, Plan};

/// Going there and back without end, rounding may make ever more of them.
const MOST: usize = 64;

/// Settings up to this many bytes are told byte by byte.
const TOLD: usize = 16;

/// Names of the settings that may be met.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Names(Vec<(Vec<u8>, String)>);

impl Names {
    /// An owner's settings are called by a letter, and others after those that they were carried over from.
    pub(super) fn of(plan: &Plan) -> Self {
        let mut names = Vec::<(Vec<u8>, String)>::new();
        let mut open = Vec::new();
        for (version, about) in plan.versions.iter().enumerate() {
            for (letter, payload) in ('A'..='Z').zip(&about.payloads) {
                open.push((version, payload.clone(), format!("settings {letter} of {}", about.name)));
            }
        }
        for (_, _, ideal) in &plan.from {
            if let (Some(value), Some(version)) = (&ideal.value, plan.versions.get(ideal.version)) {
                let name = format!("the settings of {} that it had", version.name);
                open.push((ideal.version, value.clone(), name));
            }
        }
        // Those with the shortest way first.
        while !open.is_empty() {
            let mut next = Vec::new();
            for (version, value, name) in open {
                if names.len() >= MOST || names.iter().any(|(known, _)| *known == value) {
                    continue;
                }
                let ideal = Ideal {
                    version,
                    value: Some(value.clone()),
                    aside: None,
                };
                names.push((value, name.clone()));
                for (to, about) in plan.versions.iter().enumerate().filter(|(to, _)| *to != version) {
                    let carried = ideal.under(&plan.versions, to, plan.keeps_aside);
                    if let Some(value) = carried.and_then(|ideal| ideal.value) {
                        next.push((to, value, format!("{name}, carried over to {}", about.name)));
                    }
                }
            }
            open = next;
        }
        Self(names)
    }

    /// Settings in words.
    pub(super) fn words(&self, settings: Option<&[u8]>) -> String {
        let Some(settings) = settings else {
            return "no settings".to_owned();
        };
        if settings.len() <= TOLD {
            let bytes: String = settings.iter().map(|byte| format!("{byte:02x}")).collect();
            return format!("the settings {bytes}");
        }
        match self.0.iter().find(|(known, _)| known == settings) {
            Some((_, name)) => name.clone(),
            None => format!(
                "other settings ({} bytes, CRC-32 {:08x})",
                settings.len(),
                packstaff_keeper::checksum(settings)
            ),
        }
    }
}
