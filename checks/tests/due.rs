//! Windows of what comes on cars whose habits change, in a reduced form (`cargo run -p checks --example due` is the
//! whole one).

use checks::due::{back_test, share};

#[test]
fn property_windows_hold_at_least_as_often_as_they_say() {
    let list = back_test(11, 40);
    let (held, n) = share(&list, |h| Some(h.km));
    assert!(n >= 90, "{n} windows");
    // That they hold more often, because they are wide, stands in docs/validation/life.md.
    assert!(held >= 0.75, "{held:.2} of {n} windows hold");
}
