//! Room `measure`: one file a quantity. Meters are fed blocks and asked for their result; nothing here prints or
//! knows a file format.

mod delay_fit;
mod tone;
