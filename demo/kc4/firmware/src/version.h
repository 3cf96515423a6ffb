/* Which version this build is. The Makefile gives KC4_VERSION as major * 100 + minor. */
#ifndef KC4_VERSION_H
#define KC4_VERSION_H

#ifndef KC4_VERSION
#error "say which version to build: -DKC4_VERSION=108, 200 or 201"
#endif

#define KC4_VERSION_MAJOR (KC4_VERSION / 100)
#define KC4_VERSION_MINOR (KC4_VERSION % 100)

#if KC4_VERSION == 108
#define KC4_VERSION_TEXT "1.8"
#elif KC4_VERSION == 200
#define KC4_VERSION_TEXT "2.0"
#elif KC4_VERSION == 201
#define KC4_VERSION_TEXT "2.1"
#else
#error "KC4_VERSION is none of 108, 200, 201"
#endif

#endif
