//! Values of the library in the caller's memory.

/// Lets a struct of C with fields `mark` and `room` hold a value of the library: the struct, the type
/// of the value, and a number that stands in `mark` once the value is there.
///
/// The struct itself is written out beside its documentation, where the generator of the header sees it.
macro_rules! room {
    ($name:ident, $value:ty, $mark:literal) => {
        // Whatever the target, the room is large and aligned enough, and a drop is not missed.
        const _: () = assert!(size_of::<$value>() <= size_of::<$name>() - size_of::<u64>());
        const _: () = assert!(align_of::<$value>() <= align_of::<u64>());
        const _: () = assert!(!core::mem::needs_drop::<$value>());

        impl $name {
            #[allow(dead_code)]
            fn put(&mut self, value: $value) {
                // SAFETY: room is large and aligned enough, and ours alone while borrowed.
                unsafe { (&raw mut self.room).cast::<$value>().write(value) };
                self.mark = $mark;
            }

            fn end(&mut self) {
                self.mark = 0;
            }

            #[allow(dead_code)]
            fn get(&self) -> Option<&$value> {
                // SAFETY: the mark is written together with a value only.
                (self.mark == $mark).then(|| unsafe { &*(&raw const self.room).cast::<$value>() })
            }

            #[allow(dead_code)]
            fn get_mut(&mut self) -> Option<&mut $value> {
                // SAFETY: the mark is written together with a value only; ours alone while borrowed.
                (self.mark == $mark).then(|| unsafe { &mut *(&raw mut self.room).cast::<$value>() })
            }
        }
    };
}

pub(crate) use room;
