// Whether a sanitizer watches: it has an allocator of its own, and needs memory and system calls of which limits know
// nothing.
#pragma once

namespace everytake::test {

inline constexpr bool kSanitized = sizeof(EVERYTAKE_SANITIZED) > 1;  // the build's names of them, as text

}  // namespace everytake::test
