//! The figures that `docs/src/porting.md` states about the installer are those of the code.

use packstaff_installer::{Config, DESCRIPTOR_LEN, GRANULE_MAX, Installer, REGISTER_LEN, ROWS, VOID_MARK_LEN};

fn page() -> String {
    let path: std::path::PathBuf = [env!("CARGO_MANIFEST_DIR"), "..", "..", "docs", "src", "porting.md"]
        .iter()
        .collect();
    std::fs::read_to_string(path).unwrap()
}

#[test]
fn the_page_states_real_figures() {
    let page = page();
    let stated = |sentence: String| assert!(page.contains(&sentence), "docs/src/porting.md does not say: {sentence}");
    // The tests may be built with more room for headers than a unit with Ed25519 alone has.
    let narrow = size_of::<Installer>() - (packstaff_envelope::HEADER_MAX - packstaff_envelope::HEADER_MAX_NARROW);
    let wide = narrow + (packstaff_envelope::HEADER_MAX_WIDE - packstaff_envelope::HEADER_MAX_NARROW);
    stated(format!(
        "one value of {narrow} bytes, or {wide} with room for HSS-LMS signatures"
    ));
    stated(format!("`Config` is {} bytes", size_of::<Config<'_>>()));
    stated(format!("a record of {DESCRIPTOR_LEN} bytes"));
    stated(format!("at least {VOID_MARK_LEN} bytes"));
    stated(format!("record of {REGISTER_LEN} bytes"));
    stated(format!("at most {GRANULE_MAX} bytes"));
    stated(format!("{ROWS} rows"));
}
