use super::*;
use crate::replay::Row;
use proptest::prelude::*;
use trueonset::flags::Flags;

fn row(onset_ns: i64, release_ns: Option<i64>, flags: Flags) -> Row {
    Row {
        line: "probe".to_owned(),
        onset_ns,
        doubt_ns: Some(100),
        first_edge_ns: onset_ns,
        last_edge_ns: onset_ns,
        edges: 1,
        confirmed_ns: onset_ns,
        release_ns,
        release_doubt_ns: Some(100),
        flags,
        cutter: None,
    }
}

const MS: i64 = 1_000_000;

#[test]
fn a_truth_is_read_whatever_stands_beside_and_its_faults_name_the_row() {
    let text = b"touch,onset_ns,release_ns,feed_nm_s\n1,5,9,1000\n# none\n2,15,19,1000\n";
    assert_eq!(parse(text, "t.csv").unwrap().len(), 2);
    let wrong = |text: &str| parse(text.as_bytes(), "t.csv").unwrap_err().to_string();
    assert!(wrong("onset_ns,release_ns\n").starts_with("t.csv:1: "));
    assert!(wrong("onset_ns,release_ns,feed_nm_s\n5,9,0\n").starts_with("t.csv:2: "));
    assert!(wrong("onset_ns,release_ns,feed_nm_s\n5,4,9000\n").starts_with("t.csv:2: "));
    assert!(wrong("onset_ns,release_ns,feed_nm_s\n5,9,9000\n8,12,9000\n").starts_with("t.csv:3: "));
    let swapped = wrong("onset_ns,release_ns,feed_nm_s\n5,9,9000\n18,22,300\n");
    assert!(
        swapped.starts_with("t.csv:3: ") && swapped.contains("check its unit: nm/s"),
        "{swapped}"
    );
    assert!(wrong("onset_ns,release_ns,feed_nm_s\n5,x,9\n").contains("`x`"));
}

#[test]
fn rows_find_their_true_touch_and_strangers_do_not() {
    let truth: Vec<True> = (0..10)
        .map(|k| True {
            onset_ns: k * 100 * MS,
            release_ns: k * 100 * MS + 50 * MS,
            feed_nm_s: 5_000_000,
        })
        .collect();
    let mut rows = Vec::new();
    for (k, touch) in truth.iter().enumerate() {
        let late = 4_000 + (k as i64 % 3);
        match k {
            // No such touch in the log; one that is rough; one without release.
            3 => {}
            5 => rows.push(row(touch.onset_ns, Some(touch.release_ns), Flags::ROUGH)),
            9 => rows.push(row(touch.onset_ns, None, Flags::NONE)),
            _ => {
                // A droplet before it.
                let drop = touch.onset_ns - 20 * MS;
                rows.push(row(drop, Some(drop + MS), Flags::NONE));
                let release = Some(touch.release_ns + late);
                rows.push(row(touch.onset_ns + late, release, Flags::NONE));
            }
        }
    }
    let mut calibrator = Calibrator::new();
    let gathered = gather(&truth, &rows, &mut calibrator, ("log", "truth")).unwrap();
    assert_eq!(
        (gathered.taken, gathered.without, gathered.unfit),
        (7, 2, 1)
    );
    let mean = calibrator.feeds().next().unwrap();
    // 4.001 µs at 5 mm/s.
    assert!((mean.half_pm - 20_005).abs() < 5, "{mean:?}");
    let why = Calibrated::of(&calibrator, Chatter::new())
        .unwrap_err()
        .to_string();
    assert!(
        why.contains("two feeds") && why.contains("--truth"),
        "{why}"
    );
}

proptest! {
    #[test]
    fn any_truth_gets_an_answer(bytes in prop::collection::vec(any::<u8>(), 0..300), rows in "[0-9,\\-\n#\"]{0,200}") {
        let _ = parse(&bytes, "t.csv");
        let _ = parse(format!("onset_ns,release_ns,feed_nm_s\n{rows}").as_bytes(), "t.csv");
    }
}
