//! E6, E12 and E24 against the list of another program: the PyPI package eseries 1.2.1, as `data/e_series.py` writes it. The text
//! of IEC 60063 itself was not read.

use packstaff_budget::series::Series;

const LIST: &str = include_str!("data/e_series.csv");

fn series(name: &str) -> Series {
    match name {
        "E6" => Series::E6,
        "E12" => Series::E12,
        "E24" => Series::E24,
        other => panic!("{other} is no series of the list"),
    }
}

#[test]
fn values_are_those_of_another_list() {
    let (mut decades, mut steps) = (0, 0);
    for line in LIST.lines().skip(1) {
        let fields: Vec<_> = line.split(',').collect();
        match fields.as_slice() {
            [name, values] => {
                let listed: Vec<u32> = values.split(' ').map(|value| value.parse().unwrap()).collect();
                assert_eq!(series(name).tenths().collect::<Vec<_>>(), listed, "{name}");
                decades += 1;
            }
            [name, least, next] => {
                let (least, next): (f64, f64) = (least.parse().unwrap(), next.parse().unwrap());
                let ours = series(name).at_least(least).unwrap();
                assert!((ours / next - 1.0).abs() < 1e-12, "{name} {least}: {ours}, not {next}");
                steps += 1;
            }
            _ => panic!("{line}"),
        }
    }
    assert_eq!((decades, steps), (3, 24));
}
