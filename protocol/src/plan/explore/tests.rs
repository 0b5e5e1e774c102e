use crate::plan::{SMALL, STATES_MAX, builtin, explore, parse, read};

#[test]
fn the_shipped_plans_are_sound_and_proved() {
    for shipped in builtin() {
        let parsed = read(shipped.name, shipped.text).unwrap_or_else(|faults| panic!("{faults}"));
        for warning in &parsed.warnings {
            println!("{}: {warning}", shipped.name);
        }
        let proof = explore(&parsed.plan, STATES_MAX)
            .unwrap_or_else(|why| panic!("{}: {why}", shipped.name));
        let bytes = postcard::to_stdvec(&parsed.plan).map_or(0, |b| b.len());
        println!("{} {proof:?} {bytes} bytes", shipped.name);
    }
    let plan = parse("small", SMALL).unwrap_or_else(|faults| panic!("{faults}"));
    println!("{:?}", explore(&plan, STATES_MAX));
}
