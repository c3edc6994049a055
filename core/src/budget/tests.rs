use super::*;
use crate::drawn;

const fn term(u_pm: i32, dof: Dof, group: u8, class: Class) -> Term {
    Term {
        u_pm,
        dof,
        group,
        class,
    }
}

/// The four terms of GUM H.1: u_c 31.6639 nm, ν 16.75.
#[test]
fn four_terms_of_a_gauge_block() {
    let terms = [
        term(25_000, Dof::N(18), 0, Class::Setup),
        term(9_682, Dof::N(25), 0, Class::Setup),
        term(2_887, Dof::N(50), 0, Class::Setup),
        term(16_599, Dof::N(2), 0, Class::Setup),
    ];
    let combined = combine(&terms, 1).unwrap();
    assert_eq!(combined.u_pm, 31_664);
    assert_eq!((combined.dof, combined.k_milli), (Dof::N(16), 2_120));
    assert_eq!(combined.expanded_pm(), 67_128);
}

#[test]
fn members_of_a_group_add_up_with_their_signs() {
    let pair = |a, b| {
        let terms = [
            term(a, Dof::N(7), 3, Class::Setup),
            term(1_200, Dof::Known, 0, Class::Setup),
            term(b, Dof::N(5), 3, Class::Cycle),
        ];
        combine(&terms, 9).unwrap()
    };
    assert_eq!(pair(300, 200).u_pm, 1_300);
    assert_eq!(pair(-300, 800).u_pm, 1_300);
    assert_eq!(pair(500, -500).u_pm, 1_200);
    // What cancels leaves nothing that is badly known.
    assert_eq!(pair(500, -500).dof, Dof::Known);
    // 500² of 1300², at the smaller dof of both.
    let dof = 5.0 * (1_300.0_f64 / 500.0).powi(4);
    assert_eq!(pair(300, 200).dof, Dof::N(dof as u16));
}

#[test]
fn only_what_is_drawn_with_every_touch_is_averaged() {
    let terms = |class, group| {
        [
            term(3_000, Dof::Known, group, class),
            term(1_000, Dof::Known, group, Class::Touch),
        ]
    };
    assert_eq!(combine(&terms(Class::Touch, 1), 16).unwrap().u_pm, 1_000);
    assert_eq!(combine(&terms(Class::Cycle, 1), 16).unwrap().u_pm, 4_000);
    // √(9e6 + 1e6/16) = 3010.4, and none of it is cut off.
    assert_eq!(combine(&terms(Class::Cycle, 0), 16).unwrap().u_pm, 3_011);
    let unasked = combine(&terms(Class::Touch, 1), 0).unwrap();
    assert_eq!(unasked.u_pm, 4_000);
}

#[test]
fn nothing_is_known_beyond_all_measure_and_nothing_for_certain() {
    let none = combine(&[], 1).unwrap();
    assert_eq!((none.u_pm, none.dof, none.k_milli), (1, Dof::Known, 1_960));
    let huge = [term(i32::MIN, Dof::Known, 0, Class::Setup); 5];
    assert_eq!(combine(&huge, 1), None);
    let large = [term(i32::MIN, Dof::N(1), 0, Class::Setup); 3];
    assert_eq!(combine(&large, 1).unwrap().dof, Dof::N(3));
    let group = [term(i32::MAX, Dof::Known, 1, Class::Setup); 3];
    assert_eq!(combine(&group, 1), None);
}

/// Any terms, in any order, and with twice the touches: more is never worse.
#[test]
fn order_means_nothing_and_touches_never_hurt() {
    let mut next = drawn::numbers(0x6275_6467_6574);
    for _ in 0..5_000 {
        let mut terms = [term(0, Dof::Known, 0, Class::Touch); 7];
        for term in &mut terms {
            let n = next();
            term.u_pm = (n as i32) >> (n >> 32 & 15);
            term.dof = match n >> 40 & 3 {
                0 => Dof::Known,
                _ => Dof::N((n >> 42 & 31) as u16),
            };
            term.group = (n >> 50 & 3) as u8;
            term.class = [Class::Touch, Class::Cycle, Class::Setup][(n >> 54) as usize % 3];
        }
        let touches = (next() % 40) as u16 + 1;
        let Some(combined) = combine(&terms, touches) else {
            continue;
        };
        let mut turned = terms;
        turned.reverse();
        let again = combine(&turned, touches).unwrap();
        assert_eq!(
            (again.u_pm, again.k_milli),
            (combined.u_pm, combined.k_milli)
        );
        let more = combine(&terms, 2 * touches).unwrap();
        assert!(more.u_pm <= combined.u_pm);
        let least = terms.iter().filter_map(|term| term.dof.finite()).min();
        if let (Dof::N(dof), Some(least)) = (combined.dof, least) {
            assert!(dof.saturating_add(1) >= least, "{dof} of {least}");
        }
    }
}

#[test]
fn factors_fall_with_the_degrees_of_freedom() {
    let mut before = (u16::MAX, u32::MAX);
    for dof in 4..=u16::MAX {
        let now = (k_milli(Dof::N(dof)), guard_milli(Dof::N(dof)).unwrap());
        assert!(now.0 <= before.0 && now.1 <= before.1, "{dof}");
        before = now;
    }
    assert_eq!(before.0, k_milli(Dof::Known));
    assert_eq!(Some(before.1), guard_milli(Dof::Known));
    assert_eq!(guard_milli(Dof::N(3)), None);
    assert_eq!(k_milli(Dof::N(0)), 12_706);
}
