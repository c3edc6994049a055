extern crate std;

mod air;
mod bench;
mod messages;
mod procedure;
mod random;
mod records;
