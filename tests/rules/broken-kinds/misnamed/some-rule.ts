import limit from '../../../../src/rules/kinds/limit.ts';

export default limit;
