// What can go wrong, as a value. Errors travel in Result<T>; nothing of ours throws.
#pragma once

#include <string>
#include <tl/expected.hpp>
#include <type_traits>
#include <utility>

namespace everytake {

// What the caller can do about it.
enum class Code {
  not_found,    // no such file, row or name
  exists,       // the name is taken
  no_space,     // the disk, quota or its inodes are used up
  gone,         // the medium went away: pause, try again when it is back
  io,           // the medium answered with an error
  denied,       // permissions, or a read-only filesystem
  corrupt,      // bytes are not what they must be: be loud
  unsupported,  // this filesystem or format can't do it: fall back
  invalid,      // bad input
  busy,         // somebody else holds it
  cancelled,    // we were asked to stop
};

struct Error {
  Code code;
  std::string what;  // one sentence for a person on a set, without a final full stop
  int number = 0;    // the system's own number (errno, AVERROR, SQLite code), 0 where there is none
};

template <class T>
using Result = tl::expected<T, Error>;

[[nodiscard]] inline tl::unexpected<Error> fail(Code code, std::string what, int number = 0) {
  return tl::unexpected(Error{code, std::move(what), number});
}

// The same error, with what was being done put before it.
[[nodiscard]] inline Error within(const std::string& doing, Error error) {
  error.what = doing + ": " + error.what;
  return error;
}

namespace detail {
template <class T>
T take(Result<T>& result) {
  if constexpr (!std::is_void_v<T>) return std::move(*result);
}
}  // namespace detail

}  // namespace everytake

// The value of a Result; returns its error from the enclosing function where there is none.
#define TRY(...)                                                             \
  __extension__({                                                            \
    auto try_result_ = (__VA_ARGS__);                                        \
    if (!try_result_) return tl::unexpected(std::move(try_result_.error())); \
    ::everytake::detail::take(try_result_);                                  \
  })
