use super::*;

const KC4: &str = include_str!("../../../../demo/kc4/settings/1.8.toml");

#[test]
fn a_layout_in_the_field_is_read() {
    let layout = Layout::from_text("1.8.toml", KC4).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!((layout.number, layout.record.size), (0x108, 416));
    let leaves = layout.leaves();
    let leaf = |path: &str| leaves.iter().find(|leaf| leaf.path == path).unwrap();
    let temp = leaf("prog[5].seg[7].temp");
    assert_eq!(
        (temp.at, temp.size, temp.name.as_str()),
        (40 + 5 * 62 + 14 + 7 * 6 + 2, 2, "prog.seg.temp")
    );
    assert_eq!(leaf("tc[1].gain").purpose, Purpose::Setting(Kind::Calibration));
    assert_eq!(leaf("crc").purpose, Purpose::Crc { start: 0, size: 412 });
    assert_eq!(leaf("header.generation").purpose, Purpose::Generation);
}
