#include "os/system_error.h"

#include <cerrno>
#include <system_error>

namespace everytake {

Code code_of_errno(int number) {
  switch (number) {
    case ENOENT:
    case ENOTDIR:
      return Code::not_found;
    case EEXIST:
    case ENOTEMPTY:
      return Code::exists;
    case ENOSPC:
    case EDQUOT:
      return Code::no_space;
    case ENODEV:
    case ENXIO:
    case ENOMEDIUM:
    case ENOTCONN:
    case ECONNABORTED:  // a FUSE server that died with the call in its hands
    case ESTALE:
    case ESHUTDOWN:
      return Code::gone;
    case EACCES:
    case EPERM:
    case EROFS:
      return Code::denied;
    case EOPNOTSUPP:
    case ENOSYS:
    case ENOTTY:
    case EFBIG:
      return Code::unsupported;
    case EINVAL:
    case ENAMETOOLONG:
    case ELOOP:
    case EXDEV:
    case EISDIR:
    case EILSEQ:
      return Code::invalid;
    case EBUSY:
    case EAGAIN:
    case ETXTBSY:
      return Code::busy;
    default:
      return Code::io;
  }
}

Error system_error(std::string doing, int number) {
  return Error{code_of_errno(number), doing + ": " + std::generic_category().message(number), number};
}

}  // namespace everytake
