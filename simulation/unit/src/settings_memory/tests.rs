use super::*;

fn write(address: u32, data: &[u8]) -> Change {
    Change::Program {
        address,
        data: data.to_vec(),
    }
}

fn eeprom() -> SettingsMemory {
    let mut pages = Pages::new(PageKind::Eeprom, 0, 64, 16);
    pages.hold(0, &[1; 64]);
    SettingsMemory::Pages(pages)
}

/// 24LC256 (DS20001203W): 6.2, a write that goes on beyond its page wraps round to the page's beginning; 6.3, note: a write of
/// fewer bytes refreshes the whole page, so that a cut can harm bytes that were not sent, and none of another page.
#[test]
fn a_torn_write_harms_its_page_and_no_other() {
    let memory = eeprom();
    assert!(memory.check(&write(12, &[9; 8])).is_err());
    assert!(memory.check(&write(60, &[9; 8])).is_err());
    let change = write(20, &[9; 4]);
    let cuts = memory.cuts(&change);
    assert_eq!(cuts.len(), 3 + 3 + 4);
    for cut in cuts {
        let mut torn = memory.clone();
        torn.tear(&change, cut).unwrap();
        assert_eq!(torn.read(0, 16, true), Some(vec![1; 16]), "{cut:?}");
        assert_eq!(torn.read(32, 32, true), Some(vec![1; 32]), "{cut:?}");
        assert_ne!(torn, memory, "{cut:?} leaves a trace");
    }
}

#[test]
fn a_wavering_page_reads_otherwise_until_it_is_written() {
    let mut memory = eeprom();
    memory
        .tear(&write(16, &[9; 16]), SettingsCut::Page(PageCut::Wavering))
        .unwrap();
    assert_eq!(memory.read(16, 16, false), Some(vec![9; 16]));
    assert_ne!(memory.read(16, 16, true), Some(vec![9; 16]));
    assert!(memory.wavers(10, 8) && !memory.wavers(0, 16));
    memory.apply(&write(20, &[5; 2])).unwrap();
    assert!(!memory.wavers(0, 64));
}

/// FM25L16B (001-84485 Rev J, p. 10): each byte is stored as it arrives.
#[test]
fn bytes_of_an_fram_are_old_or_new() {
    let mut pages = Pages::new(PageKind::Fram, 0, 64, 16);
    pages.hold(0, &[1; 64]);
    let memory = SettingsMemory::Pages(pages);
    let change = write(10, &[9; 12]);
    memory.check(&change).unwrap();
    for cut in memory.cuts(&change) {
        let mut torn = memory.clone();
        torn.tear(&change, cut).unwrap();
        let bytes = torn.read(0, 64, true).unwrap();
        let new = bytes.iter().take_while(|byte| **byte != 9).count();
        assert_eq!(new, 10);
        let count = bytes.iter().filter(|byte| **byte == 9).count();
        assert!(count > 0 && count < 12 && bytes[10 + count..].iter().all(|byte| *byte == 1));
    }
}

#[test]
fn a_worn_page_does_not_hold() {
    let SettingsMemory::Pages(mut pages) = eeprom() else {
        unreachable!()
    };
    pages.wear_out(20);
    let mut memory = SettingsMemory::Pages(pages);
    memory.apply(&write(16, &[9; 4])).unwrap();
    assert_eq!(memory.read(16, 4, false), Some(vec![9, 9, 9, 8]));
    memory.apply(&write(32, &[9; 4])).unwrap();
    assert_eq!(memory.read(32, 4, false), Some(vec![9; 4]));
}
