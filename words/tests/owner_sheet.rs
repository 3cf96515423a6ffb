//! The owner's sheet, read back by a parser that nobody here wrote (html5ever, the WHATWG parsing rules).

mod kiln_sheet;

use kiln_sheet::{DIGEST_OF_ABC, with_sheet};
use packstaff_product::Hazard;
use packstaff_product::ledger::ReleaseKind;
use packstaff_words::sheet::{Sheet, render};
use proptest::prelude::*;
use scraper::{Html, Selector};

fn kiln_page(change: impl FnOnce(&mut Sheet<'_>)) -> String {
    with_sheet(str::to_owned, |sheet| {
        let mut sheet = sheet.clone();
        change(&mut sheet);
        render(&sheet)
    })
}

fn parse(page: &str) -> Html {
    let document = Html::parse_document(page);
    assert_eq!(
        document.errors,
        Vec::<String>::new(),
        "the parser found fault with the page"
    );
    document
}

fn texts(document: &Html, selector: &str) -> Vec<String> {
    document
        .select(&Selector::parse(selector).unwrap())
        .map(|element| element.text().collect())
        .collect()
}

/// Every element with its attributes, in order.
fn skeleton(document: &Html) -> Vec<String> {
    document
        .select(&Selector::parse("*").unwrap())
        .map(|element| {
            let attributes: Vec<String> = element
                .value()
                .attrs()
                .map(|(name, value)| format!("{name}={value}"))
                .collect();
            format!("{} {}", element.value().name(), attributes.join(" "))
        })
        .collect()
}

/// What to do after a cut depends on whether the unit holds two images.
#[test]
fn only_units_with_one_place_are_told_to_need_the_stick() {
    let told = |alone: [bool; 2]| {
        let page = kiln_page(|sheet| {
            for (board, alone) in sheet.boards.iter_mut().zip(alone) {
                board.starts_alone = alone;
            }
        });
        let rows = texts(&parse(&page), "table.symptoms tr");
        rows.into_iter()
            .find(|row| row.starts_with("The power failed"))
            .unwrap()
    };
    let (stick, alone) = ("it is waiting for exactly this", "it starts by itself");
    let says = |row: String| (row.contains(stick), row.contains(alone));
    assert_eq!(says(told([false, false])), (true, false));
    assert_eq!(says(told([true, true])), (false, true));
    let both = told([false, true]);
    assert_eq!(says(both.clone()), (true, true));
    assert!(both.contains("Board C: Put the same stick back"), "{both}");
    assert!(both.contains("Board D: Switch the unit on"), "{both}");
}

#[test]
fn sheets_of_every_kind_are_well_formed() {
    for kind in [ReleaseKind::Feature, ReleaseKind::Fix, ReleaseKind::Security] {
        let page = kiln_page(|sheet| sheet.kind = kind);
        assert!(page.starts_with("<!DOCTYPE html><html lang=\"en\">"));
        let document = parse(&page);
        assert_eq!(texts(&document, "h1").len(), 1);
        let word = match kind {
            ReleaseKind::Feature => "New features",
            ReleaseKind::Fix => "Corrections",
            ReleaseKind::Security => "Security update",
        };
        assert!(texts(&document, ".facts")[0].contains(word));
    }
}

#[test]
fn a_sheet_with_nothing_optional_is_well_formed_too() {
    let page = kiln_page(|sheet| {
        sheet.boards.truncate(1);
        sheet.boards[0].from_versions.clear();
        sheet.boards[0].time.phases.clear();
        sheet.boards[0].time.typical_s = f64::NAN;
        sheet.boards[0].time.longest_s = f64::NAN;
        sheet.hazards = &[];
        sheet.going_back.clear();
        sheet.changes = &[];
        sheet.settings = Default::default();
        sheet.screens.clear();
        sheet.codes.clear();
        sheet.proof = None;
        sheet.done_shows = "";
        sheet.how_to_see_version = "";
        sheet.disconnect = "";
        sheet.how_to_start_update.clear();
        sheet.after_update.clear();
        sheet.supported_until = None;
    });
    let document = parse(&page);
    let text = texts(&document, "main").concat();
    for honest in [
        "not known",
        "No earlier version is offered",
        "We cannot tell",
        "no version that we have tried",
    ] {
        assert!(text.contains(honest), "{honest:?} is missing");
    }
    for row in texts(&document, "li, td, dd, p") {
        assert!(!row.trim().is_empty());
    }
}

#[test]
fn headings_go_down_one_level_at_a_time() {
    let document = parse(&kiln_page(|_| {}));
    let levels: Vec<u32> = document
        .select(&Selector::parse("h1, h2, h3, h4, h5, h6").unwrap())
        .filter_map(|heading| heading.value().name()[1..].parse().ok())
        .collect();
    assert_eq!(levels.first(), Some(&1));
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
}

#[test]
fn cautions_stand_before_every_other_section() {
    let document = parse(&kiln_page(|_| {}));
    let first = document
        .select(&Selector::parse("main > section").unwrap())
        .next()
        .unwrap();
    assert!(first.value().classes().any(|class| class == "cautions"));
}

/// For each hazard, words that its caution must hold, written down apart from the texts themselves.
const MUST_SAY: [(Hazard, &[&str]); 11] = [
    (Hazard::Mains, &["mains", "kill", "plug", "licensed electrician"]),
    (Hazard::HighVoltage, &["voltage", "charge", "qualified"]),
    (Hazard::Heat, &["heat", "unplug", "burn", "cut-out"]),
    (Hazard::Motion, &["move", "motors", "fall", "emergency stop"]),
    (
        Hazard::Transmitter,
        &["transmit", "antenna", "dummy load", "licence", "exposure"],
    ),
    (Hazard::Battery, &["battery", "fire", "swollen", "charge"]),
    (
        Hazard::Pressure,
        &["pressure", "vacuum", "valve", "relief device", "qualified"],
    ),
    (Hazard::Gas, &["gas", "smell", "no switch", "licensed"]),
    (Hazard::Chemicals, &["pumps", "valves", "mixed", "safety data sheet"]),
    (Hazard::Light, &["light", "beam", "interlock", "eye protection"]),
    (Hazard::LifeSafety, &["depend", "person", "responsible", "test"]),
];

/// The same for the cautions that every sheet has.
const ALWAYS_SAYS: [&[&str]; 7] = [
    &["restarts", "disconnect"],
    &["plug out", "stored charge"],
    &["fixed wiring", "licensed or qualified", "local codes"],
    &["nobody else", "children", "animals", "locking and tagging"],
    &["hot", "cool"],
    &["case stays closed"],
    &["power", "do not pull the stick"],
];

#[test]
fn each_set_of_hazards_brings_its_own_cautions_and_no_others() {
    let all: Vec<Hazard> = Hazard::WORDS.iter().map(|(_, hazard)| *hazard).collect();
    for hazard in all.iter().copied() {
        assert!(
            MUST_SAY.iter().any(|(listed, _)| *listed == hazard),
            "{hazard:?} is not in the list"
        );
    }
    let pairs = all
        .iter()
        .flat_map(|one| all.iter().map(move |other| vec![*one, *other]));
    for hazards in pairs.chain([vec![], all.clone()]) {
        let document = parse(&with_sheet(str::to_owned, |sheet| {
            render(&Sheet {
                hazards: &hazards,
                ..sheet.clone()
            })
        }));
        let boxes: Vec<String> = texts(&document, ".caution")
            .iter()
            .map(|text| text.to_lowercase())
            .collect();
        let says = |words: &[&str]| boxes.iter().any(|text| words.iter().all(|word| text.contains(word)));
        for words in ALWAYS_SAYS {
            assert!(says(words), "{words:?} with {hazards:?}");
        }
        for (hazard, words) in MUST_SAY {
            assert_eq!(says(words), hazards.contains(&hazard), "{hazard:?} with {hazards:?}");
        }
        for text in boxes {
            let word = ["warning", "caution", "notice"]
                .into_iter()
                .find(|word| text.starts_with(word));
            assert!(word.is_some(), "no signal word: {text:?}");
        }
    }
}

#[test]
fn steps_are_numbered_throughout() {
    let document = parse(&kiln_page(|_| {}));
    let mut next = 1;
    for list in document.select(&Selector::parse(".steps ol").unwrap()) {
        assert_eq!(list.attr("start"), Some(next.to_string().as_str()));
        next += list.select(&Selector::parse("li").unwrap()).count();
    }
    assert!(next > 15, "only {next} steps");
}

#[test]
fn durations_digest_and_size_are_there() {
    let document = parse(&kiln_page(|_| {}));
    assert!(texts(&document, ".facts")[0].contains("about 12 seconds, at most 40 seconds"));
    let sums = texts(&document, ".sum");
    assert_eq!(sums.len(), 2);
    assert!(sums[1].contains("about 6 seconds, at most 25 seconds"), "{sums:?}");
    assert_eq!(texts(&document, ".digests dd"), [DIGEST_OF_ABC, DIGEST_OF_ABC]);
    assert!(texts(&document, ".files")[0].contains("129,312 bytes"));
}

#[test]
fn nothing_is_fetched_and_nothing_runs() {
    let page = kiln_page(|_| {});
    let document = parse(&page);
    let outside = "script, link, img, iframe, object, embed, form, base, a, [src], [href], [style], meta[http-equiv]";
    assert_eq!(document.select(&Selector::parse(outside).unwrap()).count(), 0);
    for word in ["http:", "https:", "url(", "@import", "javascript:"] {
        assert!(!page.contains(word), "{word}");
    }
}

fn any_text() -> impl Strategy<Value = String> {
    let hostile = [
        "</title><script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "\"><svg onload=alert(1)>",
        "'\"`=<>&",
        "&lt;b&gt;",
        "&amp;amp;",
        "]]>",
        "<!--",
        "-->",
        "</style><style>*{display:none}",
        "</table></main>",
        "</li></ol><li>",
        "a\r\nb",
        "\0",
        "\u{7f}\u{9f}\u{1b}[2J",
        "\u{fffe}\u{1ffff}\u{fdd0}",
        "&#0;",
        "&#x3c;",
        "{{7*7}}",
        "\u{202e}txt.exe",
        "\u{feff}",
        "日本語",
        "&copy",
    ];
    prop_oneof![
        prop::sample::select(hostile.to_vec()).prop_map(str::to_owned),
        "\\PC{1,24}",
        any::<String>()
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn whatever_a_field_holds_is_text_and_only_text(hostile in prop::collection::vec(any_text(), 1..16)) {
        let mut written = Vec::new();
        let page = with_sheet(
            |_| {
                let text = format!("[{}:{}]", written.len(), hostile[written.len() % hostile.len()]);
                written.push(text.clone());
                text
            },
            render,
        );
        let document = parse(&page);
        let plain = parse(&kiln_page(|_| {}));
        prop_assert_eq!(skeleton(&document), skeleton(&plain), "a field changed the page's structure");

        let shown: String = document.root_element().text().collect();
        for text in &written {
            let allowed = |c: char| if forbidden(c) { '\u{fffd}' } else { c };
            let expected: String = text.chars().map(allowed).collect();
            prop_assert!(shown.contains(&expected), "{:?} is not shown", expected);
        }
    }
}

/// What the WHATWG HTML Standard calls a control or a noncharacter (Infra Standard, 4.6), but for tab and line feed.
fn forbidden(c: char) -> bool {
    let code = u32::from(c);
    let control = (code < 0x20 && code != 0x09 && code != 0x0a) || (0x7f..0xa0).contains(&code);
    let noncharacter = (0xfdd0..=0xfdef).contains(&code) || code & 0xffff >= 0xfffe;
    control || noncharacter
}

const STYLE: &str = include_str!("../src/sheet/style.css");

/// Colours of the style sheet, by name.
fn colour(name: &str) -> [f64; 3] {
    let start = STYLE
        .find(&format!("--{name}: #"))
        .unwrap_or_else(|| panic!("no colour {name}"))
        + name.len()
        + 5;
    [0, 2, 4].map(|at| f64::from(u8::from_str_radix(&STYLE[start + at..start + at + 2], 16).unwrap()) / 255.0)
}

/// Contrast ratio as in WCAG 2.2 (relative luminance of sRGB colours).
fn contrast(one: &str, other: &str) -> f64 {
    let luminance = |name| {
        let linear = |c: f64| {
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        };
        let [r, g, b] = colour(name).map(linear);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (a, b): (f64, f64) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn every_text_colour_has_the_enhanced_contrast_of_wcag() {
    for text in ["ink", "soft", "ember"] {
        let ratio = contrast(text, "paper");
        assert!(
            ratio >= 7.0,
            "{text} on paper: {ratio:.2}, below 7 (WCAG 2.2, success criterion 1.4.6)"
        );
    }
}

#[test]
fn no_text_is_smaller_than_eleven_points_and_nothing_rests_on_a_background() {
    let roots: Vec<&str> = STYLE
        .match_indices("font-size: 1")
        .filter_map(|(at, _)| STYLE.get(at + 11..at + 15))
        .collect();
    assert!(roots.contains(&"12pt") && roots.contains(&"11pt"), "{roots:?}");
    for declaration in STYLE.split([';', '{', '}']).map(str::trim) {
        let Some((property, value)) = declaration.split_once(": ") else {
            continue;
        };
        if property == "font" || property == "font-size" {
            let size = value.split([' ', '/']).find_map(|word| {
                word.strip_suffix("rem")
                    .map(|rem| rem.parse::<f64>().unwrap() * 11.0)
                    .or_else(|| word.strip_suffix("pt").map(|pt| pt.parse::<f64>().unwrap()))
            });
            assert!(size.is_some_and(|points| points >= 11.0), "{declaration}");
        }
        assert!(
            !property.starts_with("background") || value == "var(--paper)",
            "{declaration}"
        );
    }
}
