"""CoAP: messages, the endpoint, the node's side, payloads, and the conversation with one node.

Pure: octets and instants in, octets and events out.  The protocol, in this order:

    code, option, message                 what is in a datagram (RFC 7252)
    ask, event                            what is asked of a node, and what comes of it
    parameters, message_ids, transmission    times and ids; sending, repeating, giving up
    exchange, seen                        which answer belongs to what; what was there before
    block, transfer, errand               bodies in several datagrams (RFC 7959)
    freshness, subscription               being kept informed (RFC 7641)
    incoming, ping, endpoint              the tool's side, for one node
    resource, link_format                 what a node has, and how it lists that (RFC 6690)
    judging, serving, uploads             how a node answers
    visitor, observers, server            the node's side, for all its clients

and what the tool makes of it:

    description                           how a node is spoken to, as its bench file says
    payload, value, number, cbor, senml   values in payloads (RFC 8949, RFC 8428)
    conversation                          the place of all this among the links
"""
