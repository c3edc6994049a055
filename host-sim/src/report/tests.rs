//! The page as a whole: well formed, self-contained, and calm about whatever data it gets.

use super::*;
use proptest::prelude::*;

pub(super) const NASTY: &str = "</title></svg><script>alert('&amp;')</script>\u{0}\u{ffff}\"";

/// The page as a tree; panics where it is not well formed.
pub(super) fn check(report: &Report) -> String {
    let html = report.html();
    let options = roxmltree::ParsingOptions {
        allow_dtd: true,
        ..Default::default()
    };
    let tree = roxmltree::Document::parse_with_options(&html, options).expect("well-formed");
    let mut ids = Vec::new();
    for node in tree.descendants().filter(roxmltree::Node::is_element) {
        let name = node.tag_name().name();
        assert!(
            !["script", "link", "img", "image", "iframe", "use"].contains(&name),
            "{name}"
        );
        for attribute in node.attributes() {
            assert!(
                !["href", "src", "style"].contains(&attribute.name())
                    && !attribute.name().starts_with("on")
            );
            assert!(
                !attribute.value().contains("NaN") && !attribute.value().contains("inf"),
                "{attribute:?}"
            );
            if attribute.name() == "id" {
                ids.push(attribute.value().to_owned());
            }
        }
        if name == "svg" && node.attribute("aria-hidden").is_none() {
            let first: Vec<_> = node
                .children()
                .filter(roxmltree::Node::is_element)
                .map(|n| n.tag_name().name())
                .take(2)
                .collect();
            assert_eq!(first, ["title", "desc"]);
        }
    }
    let all = ids.len();
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), all, "names are unique");
    assert!(!html.contains("url(") && !html.contains("@import"));
    html
}

/// Estimated boxes of the texts of each picture; panics where two overlap.
pub(super) fn no_overlap(html: &str) {
    let options = roxmltree::ParsingOptions {
        allow_dtd: true,
        ..Default::default()
    };
    let tree = roxmltree::Document::parse_with_options(html, options).expect("well-formed");
    for picture in tree
        .descendants()
        .filter(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "svg")))
    {
        let texts = picture
            .children()
            .filter(|node| node.tag_name().name() == "text");
        let boxes: Vec<_> = texts
            .map(|node| {
                let number = |name| {
                    node.attribute(name)
                        .and_then(|v| v.parse::<f64>().ok())
                        .expect("a number")
                };
                let text = node.text().unwrap_or("");
                let width = svg::text_width(text);
                let left = number("x")
                    - match node.attribute("text-anchor") {
                        Some("end") => width,
                        Some("middle") => width / 2.0,
                        _ => 0.0,
                    };
                (left, left + width, number("y"), text)
            })
            .collect();
        for (k, a) in boxes.iter().enumerate() {
            for b in &boxes[..k] {
                let apart = a.1 <= b.0 || b.1 <= a.0 || (a.2 - b.2).abs() >= svg::TEXT;
                assert!(apart, "{a:?} and {b:?}");
            }
        }
    }
}

pub(super) fn report(sections: Vec<Section>) -> Report {
    let facts = vec![(NASTY.into(), NASTY.into())];
    Report {
        title: NASTY.into(),
        asked: facts.clone(),
        lead: NASTY.into(),
        facts,
        origin: Origin::Simulated,
        sections,
        limits: vec![NASTY.into()],
        again: vec![NASTY.into()],
    }
}

fn touch(edges: Vec<(i64, bool)>) -> Chatter {
    let first_edge_ns = edges.first().map_or(0, |edge| edge.0);
    let last_edge_ns = edges.last().map_or(0, |edge| edge.0);
    Chatter {
        title: NASTY.into(),
        caption: NASTY.into(),
        line: NASTY.into(),
        edges,
        touched_high: true,
        first_edge_ns,
        last_edge_ns,
        onset_ns: first_edge_ns / 2 + last_edge_ns / 2,
        doubt_ns: Some(400),
        confirmed_ns: last_edge_ns.saturating_add(1_000_000),
        truth_ns: Some(first_edge_ns / 2 + last_edge_ns / 2 + 300),
    }
}

fn feeds(values: &[[f64; 4]]) -> FeedError {
    let point = |&[feed_mm_min, bias_nm, low_nm, high_nm]: &[f64; 4]| FeedPoint {
        feed_mm_min,
        bias_nm,
        low_nm,
        high_nm,
    };
    let method = |kind| Method {
        name: NASTY.into(),
        kind,
        points: values.iter().map(point).collect(),
    };
    let methods = [Kind::FirstEdge, Kind::NInARow, Kind::BalancePoint]
        .map(method)
        .into();
    FeedError {
        title: NASTY.into(),
        caption: NASTY.into(),
        spread: NASTY.into(),
        methods,
    }
}

fn promise(values: &[[f64; 3]]) -> Promise {
    let kept = |v: &[f64; 3]| Kept {
        error_nm: v[1],
        overtravel_nm: v[2],
    };
    let first = values.first().copied().unwrap_or([f64::NAN; 3]);
    Promise {
        title: NASTY.into(),
        caption: NASTY.into(),
        points: values
            .iter()
            .map(|v| Promised {
                feed_mm_min: v[0],
                kept: kept(v),
            })
            .collect(),
        asked: kept(&first),
        feed_mm_min: first[0],
        calm_mm_min: first[0] * 0.5,
        simulated: kept(&first),
        stopped_mm_min: first[0],
    }
}

fn shares(values: &[f64]) -> Shares {
    let part = |&value: &f64| Part {
        source: NASTY.into(),
        u_nm: value,
        share: value,
    };
    Shares {
        title: NASTY.into(),
        caption: NASTY.into(),
        parts: values.iter().map(part).collect(),
    }
}

#[test]
fn advice_is_drawn_whatever_its_numbers_and_cautions() {
    let odd = [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e-300, f64::MAX, 3.0];
    let points: Vec<[f64; 3]> = odd.iter().map(|&v| [v, v, v]).collect();
    let page = check(&report(vec![
        Section::Promise(promise(&points)),
        Section::Promise(promise(&[])),
        Section::Shares(shares(&odd)),
        Section::Shares(shares(&[])),
    ]));
    assert_eq!(page.matches("with the tool clear").count(), 1);
    let sane: Vec<[f64; 3]> = (1..40_i32)
        .map(|k| 1.2_f64.powi(k))
        .map(|v| [v, 3.0 * v, 900.0 * v])
        .collect();
    let mut picture = promise(&sane);
    (picture.feed_mm_min, picture.calm_mm_min) = (300.0, 150.0);
    no_overlap(&check(&report(vec![Section::Promise(picture)])));
}

#[test]
fn text_from_outside_stays_text() {
    let columns = vec![Column {
        name: NASTY.into(),
        number: true,
    }];
    let table = Table {
        title: NASTY.into(),
        caption: NASTY.into(),
        columns,
        rows: vec![vec![NASTY.into()]; 201],
        rest_in: NASTY.into(),
    };
    let series = vec![Series {
        name: NASTY.into(),
        bins: vec![Bin {
            from_ns: 1,
            to_ns: 2,
            count: 3,
        }],
    }];
    let histogram = Histogram {
        title: NASTY.into(),
        caption: NASTY.into(),
        series,
    };
    let chatter = touch((0..500).map(|k| (k * 777, k % 2 == 0)).collect());
    let file = chatter.svg_file();
    roxmltree::Document::parse(&file).expect("well-formed");
    check(&report(vec![
        Section::Chatter(chatter),
        Section::FeedError(feeds(&[
            [0.1, -3000.0, -3100.0, -2900.0],
            [5000.0, -60.0, -90.0, -30.0],
        ])),
        Section::Table(table),
        Section::Histogram(histogram),
    ]));
}

#[test]
fn nothing_at_all_is_still_a_page() {
    let empty = String::new;
    check(&Report {
        title: empty(),
        asked: vec![],
        lead: empty(),
        facts: vec![],
        origin: Origin::Recorded,
        sections: vec![],
        limits: vec![],
        again: vec![],
    });
    check(&report(vec![
        Section::Chatter(touch(vec![])),
        Section::FeedError(feeds(&[])),
        Section::FeedError(FeedError {
            title: empty(),
            caption: empty(),
            spread: empty(),
            methods: vec![],
        }),
        Section::Table(Table {
            title: empty(),
            caption: empty(),
            columns: vec![],
            rows: vec![],
            rest_in: empty(),
        }),
        Section::Histogram(Histogram {
            title: empty(),
            caption: empty(),
            series: vec![],
        }),
        Section::Histogram(Histogram {
            title: empty(),
            caption: empty(),
            series: vec![Series {
                name: empty(),
                bins: vec![],
            }],
        }),
    ]));
}

#[test]
fn the_ends_of_the_number_range_are_no_trouble() {
    let mut far = touch(vec![(i64::MIN, true), (0, false), (i64::MAX, true)]);
    far.doubt_ns = Some(u64::MAX);
    far.truth_ns = Some(i64::MIN);
    let bins = vec![
        Bin {
            from_ns: 0,
            to_ns: 0,
            count: u64::MAX,
        },
        Bin {
            from_ns: u64::MAX,
            to_ns: u64::MAX,
            count: 1,
        },
    ];
    let series = vec![Series {
        name: String::new(),
        bins,
    }];
    let odd = [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e-300, f64::MAX];
    let values: Vec<_> = odd
        .iter()
        .flat_map(|&a| odd.map(|b| [a, b, -b, b]))
        .collect();
    check(&report(vec![
        Section::Chatter(far),
        Section::FeedError(feeds(&values)),
        Section::Histogram(Histogram {
            title: String::new(),
            caption: String::new(),
            series,
        }),
    ]));
}

#[test]
fn the_same_data_give_the_same_bytes() {
    let one = report(vec![Section::Chatter(touch(
        (0..5000).map(|k| (k * 100, k % 2 == 0)).collect(),
    ))]);
    assert_eq!(one.html(), one.clone().html());
}

#[test]
fn a_long_touch_is_a_small_page() {
    let long = touch((0..300_000).map(|k| (k * 3700, k % 2 == 0)).collect());
    assert!(check(&report(vec![Section::Chatter(long)])).len() < 80_000);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_touch_can_be_drawn(
        mut times in prop::collection::vec(any::<i32>(), 0..400),
        ends in prop::array::uniform5(any::<i32>()),
        doubt in any::<Option<u32>>(),
        high in any::<bool>(),
    ) {
        times.sort_unstable();
        let mut picture = touch(times.iter().enumerate().map(|(k, &at)| (i64::from(at), k % 2 == 0)).collect());
        let [first, last, onset, confirmed, truth] = ends.map(i64::from);
        (picture.first_edge_ns, picture.last_edge_ns, picture.onset_ns) = (first, last, onset);
        (picture.confirmed_ns, picture.truth_ns, picture.touched_high) = (confirmed, Some(truth), high);
        picture.doubt_ns = doubt.map(u64::from);
        no_overlap(&check(&report(vec![Section::Chatter(picture)])));
    }

    #[test]
    fn any_fall_can_be_drawn(
        mut times in prop::collection::vec(any::<i32>(), 0..400),
        lights in prop::collection::vec(0.0..70_000.0_f64, 400),
        ends in prop::array::uniform4(any::<i32>()),
        levels in prop::array::uniform8(0.0..70_000.0_f64),
        doubt in any::<Option<u32>>(),
    ) {
        times.sort_unstable();
        let [onset_ns, early_ns, confirmed_ns, truth] = ends.map(i64::from);
        let picture = Fall {
            title: NASTY.into(),
            caption: NASTY.into(),
            line: NASTY.into(),
            samples: times.iter().zip(lights).map(|(&at, light)| (i64::from(at), light)).collect(),
            rest: levels[0],
            trip: levels[1],
            narrow: (levels[2], levels[3]),
            wide: (levels[4], levels[5]),
            guard: (levels[6], levels[7]),
            onset_ns,
            doubt_ns: doubt.map(u64::from),
            early_ns,
            confirmed_ns,
            truth_ns: Some(truth),
        };
        no_overlap(&check(&report(vec![Section::Fall(picture)])));
    }

    #[test]
    fn any_errors_can_be_drawn(
        values in prop::collection::vec((-1.0..4.0, prop::array::uniform3(-4000.0..4000.0)), 1..20),
    ) {
        let values: Vec<_> = values.iter().map(|&(feed, [a, b, c])| [10_f64.powf(feed), a, b, c]).collect();
        let mut picture = feeds(&values);
        for (method, name) in picture.methods.iter_mut().zip(["first edge", "100 in a row", "balance point"]) {
            method.name = name.into();
        }
        no_overlap(&check(&report(vec![Section::FeedError(picture)])));
    }

    #[test]
    fn any_histogram_can_be_drawn(counts in prop::collection::vec(0..2_000_000_u64, 0..64)) {
        let bin = |(k, &count)| Bin { from_ns: 1_u64 << k, to_ns: u64::MAX >> (63 - k), count };
        let bins = counts.iter().enumerate().map(bin).collect();
        let series = vec![Series { name: "beam, high".into(), bins }, Series { name: "beam, low".into(), bins: vec![] }];
        let picture = Histogram { title: String::new(), caption: String::new(), series };
        no_overlap(&check(&report(vec![Section::Histogram(picture)])));
    }
}

/// A link's pictures, all of one set of numbers.
fn of_link(times: &[i64], ends: [i64; 3], values: &[f64]) -> Vec<Section> {
    let levels = || times.iter().enumerate().map(|(k, &at)| (at, k % 2 == 0));
    let [contact_ns, told_ns, due_ns] = ends;
    let text = || NASTY.to_owned();
    vec![
        Section::Passage(Passage {
            title: text(),
            caption: text(),
            contact_ns,
            told_ns,
            due_ns,
            delay_ns: 48_000_000,
            contact: levels().collect(),
            frames: levels().collect(),
            ready: levels().collect(),
            run: levels().collect(),
        }),
        Section::Delays(Delays {
            title: text(),
            caption: text(),
            late_ns: values.to_vec(),
            delay_ns: 48_000_000,
            bound_ns: values.first().copied().unwrap_or(0.0),
        }),
        Section::Residuals(Residuals {
            title: text(),
            caption: text(),
            points: times
                .iter()
                .zip(values)
                .map(|(&at, &value)| (at, value, (value > 0.0).then_some(2.0 * value)))
                .collect(),
        }),
        Section::Grades(Grades {
            title: text(),
            caption: text(),
            points: (0..)
                .zip(values)
                .map(|(grade, &value)| GradePoint {
                    at_s: value,
                    grade,
                    told_per_h: value,
                    true_per_h: -value,
                })
                .collect(),
        }),
        Section::Discharge(Discharge {
            title: text(),
            caption: text(),
            hours: (0..)
                .zip(values)
                .map(|(verdict, &value)| Told {
                    at_h: value,
                    volts: (value, -value),
                    left_h: (-value, value),
                    verdict,
                })
                .collect(),
            stop_v: values.first().copied().unwrap_or(0.0),
            run_h: values.first().copied().unwrap_or(8.0),
            life_h: values.last().copied().unwrap_or(8.0),
        }),
    ]
}

#[test]
fn grade_and_cells_say_in_words_what_they_show() {
    let grades = Grades {
        title: "g".to_owned(),
        caption: String::new(),
        points: [(0.0, 0), (1.0, 2), (2.0, 2), (3.0, 1)]
            .map(|(at_s, grade)| GradePoint {
                at_s,
                grade,
                told_per_h: 1.0,
                true_per_h: 1.0,
            })
            .to_vec(),
    };
    let svg = grades.svg("g");
    assert!(svg.contains("good at first, poor from 1 s on, fair from 3 s on."));
    // One bar a stretch, not one a second.
    assert_eq!(svg.matches(r#"class="bar""#).count(), 3);
    let told = |(at_h, verdict)| Told {
        at_h,
        volts: (3.0, 2.9),
        left_h: (1.0, 20.0),
        verdict,
    };
    let cells = Discharge {
        title: "c".to_owned(),
        caption: String::new(),
        hours: [(0.0, 0), (1.0, 0), (2.0, 1), (3.0, 2)].map(told).to_vec(),
        stop_v: 2.0,
        run_h: 8.0,
        life_h: 4.0,
    };
    let svg = cells.svg("c");
    assert!(svg.contains("yes in 2 hours, cannot tell in 1, no in 1."));
    assert_eq!(svg.matches(r#"class="bar""#).count(), 3);
}

#[test]
fn a_link_is_shown_with_its_caution_whatever_its_numbers() {
    let odd = [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e-300, f64::MAX];
    let times = [i64::MIN, -1, 0, 0, 1, i64::MAX];
    for (times, ends, values) in [
        (&[][..], [0; 3], &[][..]),
        (&times[..], [i64::MIN, 0, i64::MAX], &odd[..]),
        (&times[..], [i64::MAX, 0, i64::MIN], &odd[2..]),
    ] {
        let page = check(&report(of_link(times, ends, values)));
        assert!(page.contains("not a safety function; no performance level is claimed"));
    }
    assert!(!check(&report(vec![])).contains("no performance level"));
}

#[test]
fn a_long_run_of_a_link_is_a_small_picture() {
    let times: Vec<i64> = (0..200_000).map(|k| k * 1_000_000).collect();
    let values: Vec<f64> = (0..200_000).map(|k| f64::from(k % 97)).collect();
    let page = |kept: fn(&Section) -> bool| {
        let mut pictures = of_link(&times, [0, 1_000_000, 48_000_000], &values);
        pictures.retain(kept);
        assert_eq!(pictures.len(), 1);
        check(&report(pictures)).len()
    };
    assert!(page(|section| matches!(section, Section::Residuals(_))) < 60_000);
    assert!(page(|section| matches!(section, Section::Grades(_))) < 60_000);
    assert!(page(|section| matches!(section, Section::Discharge(_))) < 60_000);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_link_can_be_drawn(
        mut times in prop::collection::vec(any::<i32>(), 0..200),
        ends in prop::array::uniform3(any::<i32>()),
        values in prop::collection::vec(-10_000.0..10_000.0_f64, 200),
    ) {
        times.sort_unstable();
        let times: Vec<i64> = times.into_iter().map(i64::from).collect();
        no_overlap(&check(&report(of_link(&times, ends.map(i64::from), &values))));
    }
}
