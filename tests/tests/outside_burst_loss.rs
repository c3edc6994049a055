//! Bursts of lost frames, closed forms and simulated air, against published forms.
//!
//! Sources. The chain of two states: Gilbert, Bell Syst. Tech. J. 39 (1960)
//! 1253; its chances for frames in a row and apart stand in
//! `data/reference/gilbert_elliott.csv`, exact fractions or 16 digits, made
//! without code of this project and checked there by 40 million frames. From
//! mean loss and mean burst to the two chances: `α = 1/B`, `β = P/(B·(1−P))`,
//! a textbook appendix on channel error and packet loss models (its text seen;
//! title from memory: Ghanbari, Standard Codecs, appendix E). Burst ratio of
//! the conversational planning model, `BurstR = 1/(p+q) = P/p = (1−P)/q`
//! (Recommendation ITU-T G.107, 3.5, from memory): mean burst over that of
//! losses without memory.

use trueonset_sim::model::channel::{Gilbert, Loss, Medium};
use trueonset_sim::model::rng;
use trueonset_sim::scenario::Tables;
use trueonset_sim::study::burst_loss::{all_lost, lost_in_a_row};
use trueonset_sim::study::statistics::Moments;
use trueonset_sim::study::sweep::{Grid, Vary};

/// A number or a fraction.
fn number(text: &str) -> f64 {
    let part = |text: &str| text.parse::<f64>().unwrap();
    text.split_once('/')
        .map_or_else(|| part(text), |(over, under)| part(over) / part(under))
}

/// Chances to enter and to leave a burst, loss, spacing, frames, all of them lost.
fn table() -> Vec<[f64; 6]> {
    include_str!("../data/reference/gilbert_elliott.csv")
        .lines()
        .skip(2)
        .map(|line| {
            let cells: Vec<f64> = line.split(',').map(number).collect();
            cells.try_into().unwrap()
        })
        .collect()
}

#[test]
fn chances_of_repeats_all_lost_are_the_published_ones() {
    let rows = table();
    assert_eq!(rows.len(), 36);
    for [enter, leave, share, spacing, frames, expected] in rows {
        let loss = Loss::new(share, 1.0 / leave).unwrap();
        assert!((loss.enter() / enter - 1.0).abs() < 1e-13);
        assert!((loss.leave() / leave - 1.0).abs() < 1e-13);
        let medium = Medium::single(loss);
        let slots: Vec<u64> = (0..frames as u64).map(|k| k * spacing as u64).collect();
        let found = all_lost(&medium, &slots);
        assert!((found / expected - 1.0).abs() < 1e-12, "{found} {expected}");
        let row = lost_in_a_row(&medium, spacing as u64).nth(slots.len() - 1);
        assert!((row.unwrap() / expected - 1.0).abs() < 1e-12);
    }
}

/// Shares of simulated places at which the frames are all lost, over 100 runs.
#[test]
fn simulated_air_loses_them_as_often() {
    let runs = |enter: f64, leave: f64| -> Vec<Vec<bool>> {
        let share = enter / (enter + leave);
        let loss = Loss::new(share, 1.0 / leave).unwrap();
        let run = |seed| {
            let mut medium = Gilbert::new(loss, rng::stream(&[seed]));
            (0..200_000).map(|slot| medium.loses(slot)).collect()
        };
        (0..100).map(run).collect()
    };
    for (enter, leave) in [(0.01, 0.25), (0.001, 0.1)] {
        let lost = runs(enter, leave);
        let mut judged = 0;
        for [of, _, _, spacing, frames, expected] in table() {
            // Rarer ones are not seen often enough.
            if (of - enter).abs() > 1e-9 || expected < 5e-4 {
                continue;
            }
            let (spacing, frames) = (spacing as usize, frames as usize);
            let share = |lost: &Vec<bool>| {
                let places = lost.len() - spacing * (frames - 1);
                let all = |at: &usize| (0..frames).all(|k| lost[at + k * spacing]);
                (0..places).filter(all).count() as f64 / places as f64
            };
            let seen: Moments = lost.iter().map(share).collect();
            let error = seen.mean_error();
            assert!(
                error < 0.1 * expected,
                "{error} of {expected} tells nothing"
            );
            let off = (seen.mean() - expected).abs();
            assert!(
                off < 4.0 * error,
                "{enter} {spacing} {frames}: {off} {error}"
            );
            judged += 1;
        }
        assert!(judged >= 13, "{judged}");
    }
}

#[test]
fn loss_and_mean_burst_turn_into_chances_as_published() {
    for (share, burst) in [(0.01, 3.0), (0.05, 1.5), (0.2, 10.0), (0.5, 1.0)] {
        let loss = Loss::new(share, burst).unwrap();
        let (alpha, beta) = (1.0 / burst, share / (burst * (1.0 - share)));
        assert!((loss.leave() - alpha).abs() < 1e-15 && (loss.enter() - beta).abs() < 1e-15);
        assert!((beta / (alpha + beta) - share).abs() < 1e-15);
        let ratio = 1.0 / (loss.enter() + loss.leave());
        for published in [share / loss.enter(), (1.0 - share) / loss.leave()] {
            assert!((ratio / published - 1.0).abs() < 1e-12);
        }
        let without_memory = Loss::independent(share).unwrap().burst();
        assert!((burst / without_memory / ratio - 1.0).abs() < 1e-12);
    }
}

/// A cell of a sweep carries touches over head, air and receiver and counts the falls of READY in
/// between. READY falls where a beat that is heard is followed by K lost ones: `(Q(K) − Q(K+1))`
/// a beat, Q the published chances, and K = 3 beats of 5 ms fit into 18 ms, each heard .32 ms late.
#[test]
fn a_cell_of_a_sweep_sees_ready_fall_as_often_as_the_published_chances_say() {
    let lost = |frames: f64| {
        let rows = table();
        let mut own = rows.iter().filter(|row| row[..2] == [0.01, 0.25]);
        own.find(|row| row[3..5] == [5.0, frames]).unwrap()[5]
    };
    let expected = (lost(3.0) - lost(4.0)) * 3_600.0 / 0.005;
    let tables = Tables::parse(
        "[link]\nburst = 4\ndelay = \"24ms\"\n[approach]\nfeed = \"3000mm/min\"\n",
        "s.toml",
    )
    .unwrap();
    let loss: Vary = "link.loss=3.8461538%".parse().unwrap();
    let rows = Grid::new(&tables, &[loss]).unwrap();
    let rows = rows.run(3_000, 1, &|_| true).unwrap();
    let link = rows[0].link.unwrap();
    assert_eq!((link.touches, link.without), (3_000, 0));
    assert_eq!((link.late, link.twice, link.outside_doubt), (0, 0, 0));
    let seen = link.drops_per_h().unwrap();
    let error = seen / (link.drops as f64).sqrt();
    assert!(error < 0.05 * expected, "{error} of {expected}");
    // A link that has fallen joins for eight beats, and cannot fall meanwhile.
    let joining = expected * expected / 3_600.0 * 8.0 * 0.005;
    assert!(
        (seen + joining - expected).abs() < 4.0 * error,
        "{seen} {joining} {error} {expected}"
    );
}
