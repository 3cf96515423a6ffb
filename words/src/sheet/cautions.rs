//! What can hurt, said before anything else.
//!
//! The texts are our own words for common practice with powered equipment; no standard's wording or symbol is copied. The
//! signal words and their order of weight are the usual ones of product safety signs (ANSI Z535 and ISO 3864, from memory).
//! Every text defers to local codes and licensed practice, and none promises safety.

use packstaff_product::Hazard;

/// How bad it can get.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signal {
    Warning,
    Caution,
    Notice,
}

impl Signal {
    pub(super) const ALL: [Self; 3] = [Self::Warning, Self::Caution, Self::Notice];

    pub const fn word(self) -> &'static str {
        match self {
            Self::Warning => "WARNING",
            Self::Caution => "CAUTION",
            Self::Notice => "NOTICE",
        }
    }

    pub(super) const fn meaning(self) -> &'static str {
        match self {
            Self::Warning => "somebody could be killed or badly hurt",
            Self::Caution => "somebody could be hurt",
            Self::Notice => "something could be damaged or lost",
        }
    }

    pub(super) const fn class(self) -> &'static str {
        match self {
            Self::Warning => "warning",
            Self::Caution => "careful",
            Self::Notice => "notice",
        }
    }
}

/// One caution: a headline and what to do about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caution {
    pub signal: Signal,
    pub headline: &'static str,
    pub text: &'static str,
}

const fn warning(headline: &'static str, text: &'static str) -> Caution {
    Caution {
        signal: Signal::Warning,
        headline,
        text,
    }
}

const fn caution(headline: &'static str, text: &'static str) -> Caution {
    Caution {
        signal: Signal::Caution,
        headline,
        text,
    }
}

const fn notice(headline: &'static str, text: &'static str) -> Caution {
    Caution {
        signal: Signal::Notice,
        headline,
        text,
    }
}

/// Cautions that hold for every product.
pub(super) const GENERAL: [Caution; 7] = [
    warning(
        "It can start by itself",
        "The unit restarts, and whatever it controls may then switch on. Switch all of that off and disconnect it first. \
         Reconnect it only after the checks at the end.",
    ),
    warning(
        "Off is not unplugged",
        "Take the plug out before you touch a cable or a load: a button or a menu is not enough. Then wait for stored \
         charge to go, as long as the manual says.",
    ),
    warning(
        "Fixed wiring is not for everyone",
        "Work on fixed wiring, or behind covers, only if you are licensed or qualified for it where you live. Local codes \
         and rules come before this sheet.",
    ),
    warning(
        "You may not be alone",
        "Make sure that nobody else works on it or can switch it on, and keep children and animals away. At work, follow \
         your site’s rules for locking and tagging.",
    ),
    caution(
        "Hot parts stay hot",
        "What was hot a while ago may still burn you. Let it cool down before you touch it or disconnect it.",
    ),
    caution(
        "The case stays closed",
        "An update needs a stick, and no tool. If it seems to need more, stop and ask us.",
    ),
    notice(
        "Leave power and stick alone",
        "Use a supply that nobody will switch off. Until the unit says that the update has finished, do not switch off, do \
         not unplug, and do not pull the stick out.",
    ),
];

/// Every hazard, in the order in which their cautions are printed.
const PRINTED: [Hazard; 11] = [
    Hazard::LifeSafety,
    Hazard::Mains,
    Hazard::HighVoltage,
    Hazard::Gas,
    Hazard::Heat,
    Hazard::Motion,
    Hazard::Pressure,
    Hazard::Chemicals,
    Hazard::Battery,
    Hazard::Light,
    Hazard::Transmitter,
];

/// What an owner must know about this hazard.
const fn of_hazard(hazard: Hazard) -> Caution {
    match hazard {
        Hazard::Mains => warning(
            "Mains voltage can kill",
            "Switching the unit off does not make its terminals safe. Unplug it before you go near mains wiring. If it \
             has no plug, leave the wiring to a licensed electrician.",
        ),
        Hazard::HighVoltage => warning(
            "Dangerous voltage can remain",
            "Parts of this equipment can hold a dangerous charge long after the power is off. Wait as long as the \
             manual says. Measuring and discharging is for qualified people with the right equipment.",
        ),
        Hazard::Heat => warning(
            "It can heat without you",
            "Switch the heater off and unplug it. Take away what can burn. Leave every separate cut-out working. Stay \
             with it when it first heats again.",
        ),
        Hazard::Motion => warning(
            "It can move without you",
            "Take the power from motors and drives. Block or support anything that could fall, swing or roll. Keep \
             hands, hair, clothes and bystanders away, and keep an emergency stop that works without the unit in reach.",
        ),
        Hazard::Transmitter => warning(
            "It can transmit when it restarts",
            "Switch the transmitter off and keep people away from the antenna. Use a dummy load, or take the antenna \
             lead off, only as the manual says. Stay within your licence and local rules, and estimate exposure again \
             if power, mode, frequency or antenna has changed.",
        ),
        Hazard::Battery => warning(
            "A battery can catch fire",
            "Do not update with a battery that is swollen, hot, wet or damaged: move away from it and ask us. Otherwise \
             charge it first as the manual says, put the unit on a surface that does not burn, and stay with it.",
        ),
        Hazard::Pressure => warning(
            "Pressure can stay, and valves can move",
            "Close the supply by hand and let pressure or vacuum out as the manual says. A valve may move when the unit \
             restarts. Never block or adjust a relief device. Work on vessels and lines is for qualified people.",
        ),
        Hazard::Gas => warning(
            "Gas can escape, burn or explode",
            "Close the gas by hand before you begin, and leave it closed until every check is done. If you smell gas, \
             touch no switch and no plug: get everybody out and call for help from outside. Work on gas lines and \
             burners is for licensed people.",
        ),
        Hazard::Chemicals => warning(
            "Pumps and valves can run",
            "Close containers and lines by hand, so that nothing can be dosed, mixed or spilt when the unit restarts. \
             Wear the protection that the material’s safety data sheet asks for.",
        ),
        Hazard::Light => warning(
            "Light can blind",
            "Take the power from the light source, or cover it as the manual says. Never look into a beam or its \
             reflection. Keep every interlock and shield in place, and wear the eye protection that belongs to it.",
        ),
        Hazard::LifeSafety => warning(
            "Somebody may depend on it",
            "Never update while the unit is in use on a person, or while somebody’s safety rests on it. Have something \
             else take over first. Only whoever is responsible for it may update it, and must test it before it is used \
             again.",
        ),
    }
}

/// The cautions for a product, gravest first: those of its hazards, each once, then the general ones.
pub fn cautions_for(hazards: &[Hazard]) -> Vec<Caution> {
    let declared = PRINTED
        .into_iter()
        .filter(|hazard| hazards.contains(hazard))
        .map(of_hazard);
    let mut cautions: Vec<Caution> = declared.chain(GENERAL).collect();
    cautions.sort_by_key(|caution| caution.signal as u8);
    cautions
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_hazard_is_listed_once_and_has_a_caution_of_its_own() {
        let declared: BTreeSet<_> = Hazard::WORDS.iter().map(|(_, hazard)| *hazard).collect();
        assert_eq!(PRINTED.into_iter().collect::<BTreeSet<_>>(), declared);
        assert_eq!(PRINTED.len(), declared.len());
        let headlines: BTreeSet<_> = PRINTED
            .into_iter()
            .map(of_hazard)
            .chain(GENERAL)
            .map(|caution| caution.headline)
            .collect();
        assert_eq!(headlines.len(), PRINTED.len() + GENERAL.len());
    }

    #[test]
    fn the_gravest_come_first_and_repeats_count_once() {
        let cautions = cautions_for(&[Hazard::Transmitter, Hazard::Heat, Hazard::Heat]);
        assert_eq!(cautions.len(), GENERAL.len() + 2);
        assert!(cautions.is_sorted_by_key(|caution| caution.signal as u8));
        assert_eq!(cautions.first(), Some(&of_hazard(Hazard::Heat)));
    }

    #[test]
    fn no_text_promises_safety() {
        for caution in cautions_for(&PRINTED) {
            let text = format!("{} {}", caution.headline, caution.text).to_lowercase();
            for promise in [
                "is safe",
                "are safe",
                "safely",
                "guarantee",
                "cannot happen",
                "no danger",
                "no risk",
                "harmless",
            ] {
                assert!(!text.contains(promise), "{promise:?} in {text:?}");
            }
            assert!(
                caution.text.ends_with('.') && !caution.headline.ends_with('.'),
                "{text}"
            );
        }
    }
}
