extern crate std;

mod bench;
mod messages;
mod procedure;
mod random;
mod records;
